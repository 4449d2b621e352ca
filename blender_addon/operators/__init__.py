# SPDX-License-Identifier: GPL-3.0-or-later
"""Operators: each reads the context, calls the core and writes the result."""
