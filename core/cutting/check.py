# SPDX-License-Identifier: GPL-3.0-or-later
"""What is to be said of a cut: joints that did nothing, crumbs, and whether all foam is accounted for."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from ..errors import CutError
from ..findings import Finding, Severity
from .result import Body, CutResult

_BALANCE: Final = 1e-9
"""Relative: how nearly the volumes of pieces, crumbs and gap must add up to the carving's."""


def check_cut(result: CutResult, letters: Sequence[str], crumb: float, volume: float) -> list[Finding]:
    """Check a cut.

    Parameters
    ----------
    result : of the cut. letters : of its joints.
    crumb : cubic metres under which a body was a crumb. volume : of the carving, cubic metres.

    Returns
    -------
    list of Finding
        ``joint_misses`` (warning), ``joint_idle``, ``joint_opens`` and ``crumb`` (notes), ``volume_balance`` (error).
    """
    return [
        *_missed(result, letters),
        *_idle(result, letters),
        *_opened(result, letters),
        *_crumbs(result.crumbs, crumb),
        *_balance(volume, result),
    ]


def require_pieces(result: CutResult, gap: float, crumb: float) -> None:
    """Refuse a cut that leaves no piece.

    Raises
    ------
    CutError
        All foam is crumbs, each under `crumb` cubic metres, or went with gaps of `gap` metres.
    """
    if result.pieces:
        return
    small, lost = (1e3 * sum(body.volume for body in bodies) for bodies in (result.crumbs, result.taken))
    raise CutError(
        f"no piece is left: {small:.3g} l are crumbs, each under {crumb * 1e3:g} l, and gaps of {gap * 1e3:.3g} mm "
        f"take {lost:.3g} l; check the carving's unit, and give fewer joints or less gap"
    )


def _missed(result: CutResult, letters: Sequence[str]) -> list[Finding]:
    return [
        Finding(
            "joint_misses",
            Severity.WARNING,
            f"Joint {letters[j]} cuts nothing: it meets no foam, or only runs along a face.",
            "Move it into the carving, or take it off the list.",
            joint=letters[j],
        )
        for j in result.missed
    ]


def _idle(result: CutResult, letters: Sequence[str]) -> list[Finding]:
    """Joints that cost foam and part no two pieces: beside the carving by less than the gap, or along a crumb."""
    busy = {contact.joint for contact in result.contacts} | set(result.missed)
    return [
        Finding(
            "joint_idle",
            Severity.NOTE,
            f"Joint {letter} parts no two pieces: what it cuts off lies in a gap or is a crumb.",
            "Move it further into the carving or away from other joints, or take it off the list.",
            joint=letter,
        )
        for j, letter in enumerate(letters)
        if j not in busy
    ]


def _opened(result: CutResult, letters: Sequence[str]) -> list[Finding]:
    """Joints through one limb that open a piece and part nothing."""
    parting = {contact.joint for contact in result.contacts if contact.lower != contact.upper}
    return [
        Finding(
            "joint_opens",
            Severity.NOTE,
            f"Joint {letters[contact.joint]} only opens a piece, over {contact.area:.2f} m2: its two sides still hang "
            "together through the piece's other limb.",
            "Leave it so if the piece is to be sprung or hung open; else cut the other limb too, or take the joint's "
            "limit to one limb off.",
            joint=letters[contact.joint],
            measured=contact.area,
            unit="m2",
        )
        for contact in result.contacts
        if contact.lower == contact.upper and contact.joint not in parting
    ]


def _crumbs(crumbs: Sequence[Body], limit: float) -> list[Finding]:
    out = []
    for body in crumbs:
        at = body.mesh.vertices.mean(axis=0)
        place = (float(at[0]), float(at[1]), float(at[2]))
        out.append(
            Finding(
                "crumb",
                Severity.NOTE,
                f"A crumb of {body.volume * 1e3:.3g} l came off at ({place[0]:.2f}, {place[1]:.2f}, {place[2]:.2f}) m.",
                "Glue it back to its neighbour, or move the joint; it is in pieces/crumbs.ply.",
                measured=body.volume,
                limit=limit,
                unit="m3",
                where=place,
            )
        )
    return out


def _balance(volume: float, result: CutResult) -> list[Finding]:
    parts = (*result.pieces, *result.taken, *result.crumbs)
    missing = abs(sum(body.volume for body in parts) - volume)
    if missing <= _BALANCE * volume:
        return []
    return [
        Finding(
            "volume_balance",
            Severity.ERROR,
            f"{missing:.3g} m3 of the carving are in no piece, crumb or gap.",
            "Do not use these pieces; report the carving and its joints.",
            measured=missing,
            limit=_BALANCE * volume,
            unit="m3",
        )
    ]
