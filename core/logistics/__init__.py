# SPDX-License-Identifier: GPL-3.0-or-later
"""Build order and load plan."""
