# SPDX-License-Identifier: GPL-3.0-or-later
"""Messages to another process and from it: objects as Python writes them, long arrays as they lie in memory."""

from __future__ import annotations

import io
import pickle
import struct
from collections.abc import Callable, Mapping, Sequence
from typing import IO, Any, BinaryIO, Final

_NUMBER: Final = struct.Struct("<Q")
"""How lengths are written."""

_PROTOCOL: Final = 5
"""The first by which arrays can be left out of a message, and sent as they are."""


class _Pickler(pickle.Pickler):
    def __init__(self, file: BinaryIO, names: Mapping[int, str], aside: Callable[[pickle.PickleBuffer], Any]) -> None:
        super().__init__(file, protocol=_PROTOCOL, buffer_callback=aside)
        self._names = names

    def persistent_id(self, value: object) -> str | None:
        return self._names.get(id(value))


class _Unpickler(pickle.Unpickler):
    def __init__(self, file: BinaryIO, known: Mapping[str, object], buffers: list[bytearray]) -> None:
        super().__init__(file, buffers=buffers)
        self._known = known

    def persistent_load(self, name: str) -> object:
        return self._known[name]


class Post:
    """Two pipes to a process that is trusted: it is of our own making, and what it sends is carried out as Python code.

    What both sides know by name is sent as the name.
    """

    def __init__(self, inward: IO[bytes], outward: IO[bytes]) -> None:
        self._inward, self._outward = inward, outward
        self._known: dict[str, object] = {}
        self._names: dict[int, str] = {}

    def know(self, values: Mapping[str, object]) -> None:
        """From now on these go by their names, in both directions; the other side must be told the same."""
        for name in values:
            # What is gone may leave its place, and so its number, to something else.
            self._names.pop(id(self._known.get(name)), None)
        self._known.update(values)
        self._names.update((id(value), name) for name, value in values.items())

    def lend(self, given: Sequence[object]) -> None:
        """In the answer to what these were sent with they go by their numbers."""
        self.know({str(k): value for k, value in enumerate(given)})

    def send(self, message: object) -> None:
        """Send an object.

        Raises
        ------
        OSError
            The other side is gone.
        """
        text = io.BytesIO()
        buffers: list[pickle.PickleBuffer] = []
        _Pickler(text, self._names, buffers.append).dump(message)
        parts = [text.getbuffer(), *(buffer.raw() for buffer in buffers)]
        self._outward.write(_NUMBER.pack(len(parts)))
        for part in parts:
            self._outward.write(_NUMBER.pack(part.nbytes))
            self._outward.write(part)
        self._outward.flush()

    def receive(self) -> Any:
        """The next object that comes in.

        Raises
        ------
        EOFError
            The other side is gone.
        """
        parts = [self._read(self._count()) for _ in range(self._count())]
        return _Unpickler(io.BytesIO(parts[0]), self._known, parts[1:]).load()

    def _count(self) -> int:
        count: int = _NUMBER.unpack(self._read(_NUMBER.size))[0]
        return count

    def _read(self, count: int) -> bytearray:
        out = bytearray(count)
        view = memoryview(out)
        done = 0
        while done < count:
            got = self._inward.readinto(view[done:])  # type: ignore[attr-defined]
            if not got:
                raise EOFError
            done += got
        return out
