"""A log in parts: the open part is plain bytes that survive any cut, sealed parts are xz."""

import lzma
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from monitor.sessions.durable import AppendedFile, write_whole

DICTIONARY_BYTES = 1 << 18
"""More saves one per cent on captures and costs ten times the memory."""

READ_BYTES = 1 << 16


class XzLog:
    """Appends to one log of a session.

    A part is first the plain file ``STEM-0001SUFFIX``. Its compressed form grows in memory beside it, so that sealing is quick:
    the sealed ``STEM-0001SUFFIX.xz`` appears whole, then the plain file goes.

    Args:
        folder: Where the parts lie; must exist.
        stem: Name before the part's number.
        suffix: Name after it.
        part: Number of the first part to write.
    """

    def __init__(self, folder: Path, stem: str, suffix: str, part: int) -> None:
        self._folder, self._stem, self._suffix = folder, stem, suffix
        self.bytes = 0
        self._begin(part)

    def write(self, data: bytes) -> None:
        """Append.

        Raises:
            OSError: It could not be written.
        """
        self.file.write(data)
        self._compressed.append(self._compressor.compress(data))
        self.bytes += len(data)

    def next_part(self, part: int) -> None:
        """Seal the open part and begin another."""
        self.seal()
        self._begin(part)

    def seal(self) -> None:
        """Seal the open part; an empty one goes without a trace.

        Raises:
            OSError: There is no room: the plain file stays as it is.
        """
        if self.file.path.stat().st_size:
            write_whole(sealed_path(self.file.path), b"".join(self._compressed) + self._compressor.flush())
        self.file.close()
        self.file.path.unlink()

    def _begin(self, part: int) -> None:
        self._compressor = _compressor()
        self._compressed: list[bytes] = []
        self.file = AppendedFile(self._folder / f"{self._stem}-{part:04d}{self._suffix}")


def sealed_path(plain: Path) -> Path:
    """The name that a part gets when it is sealed."""
    return plain.with_name(plain.name + ".xz")


def seal_plain(plain: Path) -> None:
    """Seal a part that was left open, from its file."""
    data = plain.read_bytes()
    if data and not sealed_path(plain).exists():
        compressor = _compressor()
        write_whole(sealed_path(plain), compressor.compress(data) + compressor.flush())
    plain.unlink()


def part_paths(folder: Path, stem: str, suffix: str) -> dict[int, Path]:
    """The parts of a log by number; the sealed form where both exist."""
    found: dict[int, Path] = {}
    for path in sorted(folder.glob(f"{stem}-*{suffix}*")):
        number = path.name.removeprefix(f"{stem}-").removesuffix(".xz").removesuffix(suffix)
        if number.isdigit() and path.suffix != ".tmp":
            found[int(number)] = path
    return dict(sorted(found.items()))


def read_part(path: Path) -> tuple[Iterator[bytes], list[str]]:
    """Bytes of a part, piece by piece, as far as they can be read.

    Returns:
        The pieces, and a list that holds one sentence after the last piece where the file is cut off or damaged.
    """
    damage: list[str] = []
    return _pieces(path, damage), damage


def _pieces(path: Path, damage: list[str]) -> Iterator[bytes]:
    try:
        with path.open("rb") as file:
            if path.suffix == ".xz":
                yield from _decompressed(file, path, damage)
            else:
                while piece := file.read(READ_BYTES):
                    yield piece
    except OSError as error:
        damage.append(f"{path.name} cannot be read ({error.strerror})")


def _decompressed(file: BinaryIO, path: Path, damage: list[str]) -> Iterator[bytes]:
    decompressor = lzma.LZMADecompressor(lzma.FORMAT_XZ)
    while not decompressor.eof:
        data = file.read(READ_BYTES) if decompressor.needs_input else b""
        if decompressor.needs_input and not data:
            damage.append(f"{path.name} is cut off")
            return
        try:
            piece = decompressor.decompress(data, READ_BYTES)
        except lzma.LZMAError as error:
            damage.append(f"{path.name} is damaged ({error})")
            return
        if piece:
            yield piece


def _compressor() -> lzma.LZMACompressor:
    filters = [{"id": lzma.FILTER_LZMA2, "preset": 6, "dict_size": DICTIONARY_BYTES}]
    return lzma.LZMACompressor(format=lzma.FORMAT_XZ, check=lzma.CHECK_CRC64, filters=filters)
