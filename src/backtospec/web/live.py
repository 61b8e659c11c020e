"""Tells every open page of a job that something was added, by whichever browser or program."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from backtospec.bench.jobs import Bench

PERIOD_S = 0.5
"""How often the store is asked how far it has come, while anybody listens."""

SILENT_S = 15.0
"""After so long without news a line is sent all the same: a dead connection shows."""

Listener = asyncio.Queue[int]


class Live:
    """Watches the store for all open pages at once."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._listeners: dict[str, set[Listener]] = {}
        self._count = 0
        self._watch: asyncio.Task[None] | None = None
        self._closing = asyncio.Event()
        self._watching_since = asyncio.Event()

    @asynccontextmanager
    async def listening(self, job_id: str) -> AsyncIterator[Listener]:
        """Give a queue that receives a number each time something is added to a job."""
        queue: Listener = asyncio.Queue(maxsize=4)
        self._listeners.setdefault(job_id, set()).add(queue)
        if self._watch is None or self._watch.done():
            self._watching_since.clear()
            self._watch = asyncio.create_task(self._watching())
        try:
            yield queue
        finally:
            mine = self._listeners[job_id]
            mine.discard(queue)
            if not mine:
                del self._listeners[job_id]

    async def events(self, job_id: str) -> AsyncIterator[bytes]:
        """Give the lines of a server-sent event stream."""
        yield b"retry: 1000\n\n"
        async with self.listening(job_id) as queue:
            # what was added between the page and this stream is seen by looking once
            await self._watching_since.wait()
            yield f"event: added\ndata: {self._count}\n\n".encode()
            while not self._closing.is_set():
                try:
                    number = await asyncio.wait_for(queue.get(), SILENT_S)
                except TimeoutError:
                    yield b"event: alive\ndata: \n\n"
                    continue
                if number:
                    yield f"event: added\nid: {number}\ndata: {number}\n\n".encode()

    async def close(self) -> None:
        """End every stream."""
        self._closing.set()
        for queue in [q for queues in self._listeners.values() for q in queues]:
            with contextlib.suppress(asyncio.QueueFull):
                queue.put_nowait(0)
        if self._watch is not None:
            self._watch.cancel()

    async def _watching(self) -> None:
        marks = await asyncio.to_thread(self._bench.marks)
        self._watching_since.set()
        while self._listeners:
            await asyncio.sleep(PERIOD_S)
            newer = await asyncio.to_thread(self._bench.marks)
            if newer == marks:
                continue
            jobs = await asyncio.to_thread(self._bench.jobs_since, marks)
            marks = newer
            self._count += 1
            for job_id in jobs:
                for queue in self._listeners.get(job_id, ()):
                    with contextlib.suppress(asyncio.QueueFull):
                        queue.put_nowait(self._count)
