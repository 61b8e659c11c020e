"""Analyses of recordings, remembered: costly to compute, and lost without loss."""

from __future__ import annotations

import base64
import hashlib
import importlib
import json
from collections.abc import Mapping
from dataclasses import asdict, fields, is_dataclass
from enum import Enum
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

import backtospec.analysis
from backtospec.check import Analysed
from backtospec.store import read, write
from backtospec.store.connection import Store

if TYPE_CHECKING:
    from backtospec.analysis.setup import CaptureSetup

_OWN = "backtospec."


def recall(store: Store, sha256: str, kind: str, setup: CaptureSetup) -> Analysed | None:
    """Return an analysis that was made before by exactly this program, or ``None``."""
    kept = read.get_derived(store, sha256, "", kind, version(), asdict(setup))
    return None if kept is None else decode(json.loads(kept))


def remember(store: Store, sha256: str, kind: str, setup: CaptureSetup, analysed: Analysed) -> None:
    """Keep an analysis of a recording."""
    text = json.dumps(encode(analysed), ensure_ascii=False)
    write.put_derived(store, sha256, "", kind, version(), asdict(setup), text)


@cache
def version() -> str:
    """Return what names the analysis as it is now: any change to its files changes it."""
    digest = hashlib.sha256()
    folder = Path(backtospec.analysis.__path__[0]).parent
    for part in ("analysis", "sources", "bench"):
        for path in sorted((folder / part).glob("*.py")):
            digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()[:16]


def encode(value: object) -> Any:
    """Return a frozen record of ours, or anything it may hold, as JSON can hold it.

    Examples
    --------
    >>> encode((1.5, {"L": None}))
    {'tuple': [1.5, {'map': [['L', None]]}]}
    """
    match value:
        case None | bool() | str() | int() if not isinstance(value, Enum):
            return value
        case np.ndarray():
            body = base64.b64encode(np.ascontiguousarray(value).tobytes()).decode()
            return {"array": [str(value.dtype), list(value.shape), body]}
        case Enum():
            return {"enum": [_name(type(value)), value.value]}
        case float() | np.floating():
            return float(value)
        case np.integer():
            return int(value)
        case tuple():
            return {"tuple": [encode(item) for item in value]}
        case list():
            return {"list": [encode(item) for item in value]}
        case Mapping():
            return {"map": [[encode(k), encode(v)] for k, v in value.items()]}
    if is_dataclass(value) and not isinstance(value, type):
        held = {f.name: encode(getattr(value, f.name)) for f in fields(value) if f.init}
        return {"record": [_name(type(value)), held]}
    raise TypeError(f"{type(value)} cannot be remembered")


def decode(value: Any) -> Any:
    """Return what :func:`encode` was given.

    Examples
    --------
    >>> decode(encode((1.5, {"L": [float("inf")]})))
    (1.5, {'L': [inf]})
    """
    if not isinstance(value, dict):
        return value
    ((kind, body),) = value.items()
    match kind:
        case "tuple":
            return tuple(decode(item) for item in body)
        case "list":
            return [decode(item) for item in body]
        case "map":
            return {decode(k): decode(v) for k, v in body}
        case "array":
            dtype, shape, text = body
            return np.frombuffer(base64.b64decode(text), dtype).reshape(shape).copy()
        case "enum":
            return _type_named(body[0])(body[1])
        case "record":
            return _type_named(body[0])(**{k: decode(v) for k, v in body[1].items()})
    raise ValueError(f"{kind!r} was never remembered")


def _name(kind: type) -> str:
    return f"{kind.__module__}:{kind.__qualname__}"


@cache
def _type_named(name: str) -> Any:
    module, _, kind = name.partition(":")
    if not module.startswith(_OWN):
        raise ValueError(f"{name} is none of our records")
    return getattr(importlib.import_module(module), kind)
