"""Files that are given to a check: streamed to the disk, kept under the hash of their content."""

from __future__ import annotations

import asyncio
import tempfile
from pathlib import Path

from fastapi import APIRouter, Request, Response
from starlette.requests import ClientDisconnect
from starlette.responses import FileResponse, JSONResponse, PlainTextResponse

from backtospec.web.desk import bench_of, desk_of

router = APIRouter()

_SHOWN = {b"\xff\xd8\xff": "image/jpeg", b"\x89PNG\r\n\x1a\n": "image/png"}


@router.put("/uploads")
async def take(request: Request, name: str) -> Response:
    """Keep what is sent, block by block; a file of any length takes the same memory."""
    desk = desk_of(request)
    most = desk.settings.upload_bytes
    folder = desk.bench.folder / "uploads"
    folder.mkdir(exist_ok=True)
    with tempfile.NamedTemporaryFile(dir=folder, prefix="upload-", delete=False) as file:
        path, size = Path(file.name), 0
        try:
            async for block in request.stream():
                size += len(block)
                if size > most:
                    return PlainTextResponse(f"More than {most >> 20} MB are not taken.", 413)
                await asyncio.to_thread(file.write, block)
            file.flush()
            given = name.replace("\\", "/").rpartition("/")[2][:200] or "unnamed"
            sha256 = await asyncio.to_thread(desk.bench.keep_upload, path, given)
        except ClientDisconnect:
            return PlainTextResponse("The sender went away.", 400)
        finally:
            path.unlink(missing_ok=True)
    return JSONResponse({"sha256": sha256, "name": given, "size": size})


@router.get("/files/{sha256}")
def give(request: Request, sha256: str) -> Response:
    """Give a kept file back: pictures to look at, anything else to save."""
    bench = bench_of(request)
    path = bench.file_path(sha256)
    with path.open("rb") as stream:
        start = stream.read(8)
    shown = next((kind for first, kind in _SHOWN.items() if start.startswith(first)), None)
    return FileResponse(
        path,
        media_type=shown or "application/octet-stream",
        filename=bench.file_name(sha256),
        content_disposition_type="inline" if shown else "attachment",
    )
