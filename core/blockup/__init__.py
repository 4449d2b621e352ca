# SPDX-License-Identifier: GPL-3.0-or-later
"""Billets in courses, the glue lines between them, and what each course's outline is."""
