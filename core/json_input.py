# SPDX-License-Identifier: GPL-3.0-or-later
"""JSON that a user may have edited: read with one clear error, and values of it shown in errors."""

from __future__ import annotations

import json
from typing import Any, NoReturn

from .errors import InputError


def parsed(text: str, name: str, wanted: str) -> Any:
    """The value that a JSON text holds.

    Parameters
    ----------
    text : the file's. name : of the file, for messages. wanted : what to give instead, for messages.

    Raises
    ------
    InputError
        Not JSON, nested too deep, or NaN and infinity, which Python would let pass.
    """

    def refuse_constant(word: str) -> NoReturn:
        raise InputError(f"{name}: holds {word}, which is no number; give finite numbers")

    try:
        return json.loads(text, parse_constant=refuse_constant)
    except (ValueError, RecursionError) as error:
        raise InputError(f"{name}: is not JSON ({error}); give {wanted}") from None


def as_shown(value: Any) -> str:
    """A value as short JSON, for a message."""
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 60 else text[:57] + "..."
