# SPDX-License-Identifier: GPL-3.0-or-later
"""The sidebar tab: one panel for each step of the job."""
