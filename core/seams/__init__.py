# SPDX-License-Identifier: GPL-3.0-or-later
"""What a joint may follow: crevices, marked lines, zones; and how well a joint keeps to them."""
