"""A log in parts: a part is plain bytes while it is written, cheap and safe from any cut; sealed parts are compressed (xz) later."""

import lzma
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial
from pathlib import Path
from typing import BinaryIO

from monitor.sessions.durable import AppendedFile, write_whole

DICTIONARY_BYTES = 1 << 18
"""More saves one per cent on captures and costs ten times the memory."""
_FILTERS = [{"id": lzma.FILTER_LZMA2, "preset": 6, "dict_size": DICTIONARY_BYTES}]

READ_BYTES = 1 << 16
GROWTH_LIMIT = 100
"""No part of ours shrinks that much: sample streams to a third, idle text lines to a twentieth (measured). Beyond it a file is a bomb."""
GROWTH_FREE_BYTES = 1_000_000


class Compactor:
    """Compresses sealed parts one after the other in a thread of its own.

    The compressor needs no interpreter lock, and what records never waits for it.
    """

    def __init__(self) -> None:
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="compactor")
        self._pending: dict[Callable[[], object], Future[object]] = {}

    def add(self, seal: Callable[[], object]) -> None:
        """Seal a part when its turn comes.

        Args:
            seal: Does it; may be called again where it failed.
        """
        self._pending = {each: future for each, future in self._pending.items() if not future.done() or future.exception()}
        self._pending[seal] = self._pool.submit(seal)

    def finish(self) -> None:
        """Wait until every part is compressed; one that failed is tried once more.

        Raises:
            OSError: There is no room: the plain file stays as it is.
        """
        self._pool.shutdown(wait=True)
        for seal, future in self._pending.items():
            if future.exception() is not None:
                seal()

    def abandon(self) -> None:
        """Leave what waits as plain files; the next start compresses them."""
        self._pool.shutdown(wait=False, cancel_futures=True)


class XzLog:
    """Appends to one log of a session.

    A part is first the plain file ``STEM-0001SUFFIX``; sealed it is given to the compactor: ``STEM-0001SUFFIX.xz`` appears whole,
    then the plain file goes.

    Args:
        folder: Where the parts lie; must exist.
        stem: Name before the part's number.
        suffix: Name after it.
        part: Number of the first part to write.
        compactor: Compresses sealed parts.
        earlier_bytes: How much there is in earlier parts.
    """

    def __init__(self, folder: Path, stem: str, suffix: str, part: int, compactor: Compactor, earlier_bytes: int = 0) -> None:
        self._folder, self._stem, self._suffix = folder, stem, suffix
        self._compactor = compactor
        self._earlier_bytes = earlier_bytes
        self._begin(part)

    @property
    def whole_bytes(self) -> int:
        """How much there is, in all parts, up to the last whole batch."""
        return self._earlier_bytes + self.file.whole_bytes

    def write(self, data: bytes) -> None:
        """Append.

        Raises:
            OSError: It could not be written.
        """
        self.file.write(data)

    def next_part(self, part: int) -> None:
        """Seal the open part and begin another."""
        whole_bytes = self.whole_bytes
        self.seal()
        self._begin(part)
        self._earlier_bytes = whole_bytes

    def seal(self) -> None:
        """Close the open part and have it compressed; an empty one goes without a trace."""
        self.file.close()
        self._compactor.add(partial(seal_plain, self.file.path))

    def seal_of_left(self) -> Callable[[], object]:
        """What compresses a part that is left now, as it was at its last whole batch, whatever is still written to it."""
        return partial(seal_plain, self.file.path, self.file.whole_bytes)

    def _begin(self, part: int) -> None:
        self.file = AppendedFile(self._folder / f"{self._stem}-{part:04d}{self._suffix}")


def sealed_path(plain: Path) -> Path:
    """The name that a part gets when it is sealed."""
    return plain.with_name(plain.name + ".xz")


def seal_plain(plain: Path, size_bytes: int | None = None) -> None:
    """Seal a part that was left open, from its file; only its beginning where a size is given."""
    if not plain.exists():
        return  # sealed already, by a thread that was left behind
    data = plain.read_bytes()[:size_bytes]
    if data and not sealed_path(plain).exists():
        write_whole(sealed_path(plain), lzma.compress(data, lzma.FORMAT_XZ, lzma.CHECK_CRC64, filters=_FILTERS))
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
    room = GROWTH_FREE_BYTES + GROWTH_LIMIT * path.stat().st_size
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
        room -= len(piece)
        if room < 0:
            damage.append(f"{path.name} would grow out of all measure: it is not read further")
            return
        if piece:
            yield piece
