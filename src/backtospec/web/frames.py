"""What surrounds every page of a job: the power-state strip and the dial of stages."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from backtospec import catalogue
from backtospec.bench.jobs import Standing
from backtospec.check import Check, Stage
from backtospec.check.power_clocks import Clocks, clocks
from backtospec.check.power_path import current_state
from backtospec.records import PowerState, Visit
from backtospec.web.desk import Desk
from backtospec.web.words import STATES, mark_of
from backtospec.web.works import Work


@dataclass(frozen=True, slots=True)
class Power:
    """How the amplifier is powered now; ``state`` is ``None`` where nobody said."""

    state: PowerState | None
    clocks: Clocks

    @property
    def word(self) -> str:
        """The word on the strip."""
        return STATES[self.state][0] if self.state else "How is it powered?"

    @property
    def meaning(self) -> str:
        """What the word means."""
        return STATES[self.state][1] if self.state else "say so first; until then it is dangerous"


@dataclass(frozen=True, slots=True)
class Stop:
    """One stage on the dial."""

    stage: Stage
    mark: str
    word: str
    href: str
    checks: tuple[Check, ...]
    here: bool


@dataclass(frozen=True, slots=True)
class Frame:
    """The frame of one job."""

    standing: Standing
    visit: Visit
    here: Stage | None
    power: Power
    dial: tuple[Stop, ...]
    works: tuple[Work, ...]

    @property
    def job_id(self) -> str:
        """The job's id."""
        return self.standing.job.id

    @property
    def base(self) -> str:
        """The address of the job's page."""
        return f"/jobs/{self.job_id}"

    def check_href(self, check_id: str) -> str:
        """Return the address of a check's page."""
        return f"{self.base}/checks/{check_id}?visit={self.visit}"


def frame_of(
    desk: Desk, job_id: str, visit: Visit | None = None, here: Stage | None = None
) -> Frame:
    """Return the frame of a job.

    Parameters
    ----------
    visit
        Before or after; by default the one in hand.
    here
        The stage in hand.
    """
    standing = desk.bench.standing(job_id)
    chosen = visit or standing.visit
    return Frame(
        standing,
        chosen,
        here,
        power_of(standing),
        _dial(standing, chosen, here),
        desk.works.of_job(job_id),
    )


def power_of(standing: Standing, now: datetime | None = None) -> Power:
    """Return how the amplifier of a job is powered."""
    return Power(current_state(standing.power), clocks(standing.power, now or datetime.now(UTC)))


def visit_named(text: str) -> Visit | None:
    """Return the visit of a query, or ``None``."""
    return Visit(text) if text in tuple(Visit) else None


def _dial(standing: Standing, visit: Visit, here: Stage | None) -> tuple[Stop, ...]:
    stops = []
    for stage in Stage:
        checks = tuple(c for c in catalogue.all_checks() if c.stage is stage)
        ids = {c.id for c in checks}
        mark, word = mark_of(
            j.conclusion
            for j in standing.newest
            if j.sitting.check_id in ids and j.sitting.visit is visit and j.conclusion is not None
        )
        base = f"/jobs/{standing.job.id}"
        href = f"{base}?visit={visit}#stage-{stage.value}"
        if len(checks) == 1:
            href = f"{base}/checks/{checks[0].id}?visit={visit}"
        stops.append(Stop(stage, mark, word, href, checks, stage is here))
    return tuple(stops)
