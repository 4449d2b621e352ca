# SPDX-License-Identifier: GPL-3.0-or-later
"""Bodies that the carving must not touch: their pose, their way in, and the distance left."""
