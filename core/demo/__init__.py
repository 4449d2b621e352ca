# SPDX-License-Identifier: GPL-3.0-or-later
"""The demo job: an invented sea-cliff outcrop round a boat on its cradle, made by code."""

from .boat import demo_boat, demo_cradle, demo_keep_clear
from .carving import demo_carving
from .job import demo_job_toml
from .prices import demo_prices_csv

__all__ = ["demo_boat", "demo_carving", "demo_cradle", "demo_job_toml", "demo_keep_clear", "demo_prices_csv"]
