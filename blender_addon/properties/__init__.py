# SPDX-License-Identifier: GPL-3.0-or-later
"""What is stored in the file beside ordinary Blender data: a job's settings, report and findings."""
