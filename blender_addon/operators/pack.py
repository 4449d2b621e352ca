# SPDX-License-Identifier: GPL-3.0-or-later
"""The job pack, written from inside Blender."""

import tempfile
from pathlib import Path
from typing import Any

import bpy
from bpy.props import BoolProperty, StringProperty

from .. import carving_source, job_tree, pack_here, results, stamps, watch
from ..core.errors import JobError, Progress, SeamwrightError
from ..core.jobpack.joints_file import joints_json
from ..core.jobpack.pack import pack_files
from ..long_work import LongWork, Step, Steps, beside
from ..pack_folder import check_target, write_pack
from ..properties import settings_link
from ..site_objects import current_numbers
from .common import OnCarving, job_again, job_poll, job_state, need_scale, own_prices, read_joints, scale_of
from .cut import cut_id
from .file_choice import WritesFile


class SEAMWRIGHT_OT_pack_export(LongWork, bpy.types.Operator):
    """Write tables, page, pictures, pieces and a Blender file into a new folder, as a whole or not at all"""

    bl_idname = "seamwright.pack_export"
    bl_label = "Write the Job Pack"
    working = "Job pack"

    folder: StringProperty(name="Folder", description="Empty: the folder set with the job", subtype="DIR_PATH")
    replace: BoolProperty(name="Replace", description="Replace the job pack that is in the folder")
    pictures: BoolProperty(name="Pictures", description="Render pictures for the page", default=True)

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """The job is cut, and nothing has changed since."""
        if not job_poll(cls, context):
            return False
        job = job_tree.active_job(context)
        if not job.seamwright.is_cut:
            cls.poll_message_set("Cut first")
        elif stamps.out_of_date(job, scale_of(context), watch.surface_now(job)):
            cls.poll_message_set("Something has changed since the cut; cut again first")
        else:
            return True
        return False

    def steps(self, context: bpy.types.Context, wait: bool) -> Steps:
        """Run the job again unless its result is at hand, take pictures, write."""
        job = job_tree.active_job(context)
        scale = need_scale(context, job)
        before = job_state(job, scale)
        chosen = str(self.folder or job.seamwright.pack_folder) or f"//{bpy.path.clean_name(job.name)}-pack"
        if chosen.startswith("//") and not bpy.data.filepath:
            raise JobError("set a folder for the job pack, or save the Blender file: it is then written beside it")
        folder = bpy.path.abspath(chosen)
        check_target(folder, self.replace)
        stamp = cut_id(job)
        result = results.kept(stamp)
        if result is None:
            yield Step(0.0, "reading the carving")
            settings = settings_link.read(job.seamwright)
            prices = own_prices(job)
            joints = read_joints(job, scale)
            numbered = current_numbers(job, scale)
            carving = carving_source.snapshot(context, job)
            result, _ = yield from beside(
                lambda p: carving_source.do_job(carving, settings, joints, p, numbered, prices), 0.0, 0.4, wait
            )
            results.keep(stamp, result)
        pictures = {}
        if self.pictures and job.seamwright.pack_pictures:
            pictures = yield from pack_here.pictures(result, 0.4, 0.85, wait)
        yield Step(0.85, "Blender file", locked=True)
        job_again(before)
        record, replace = result, bool(self.replace)
        yield Step(0.86, "Blender file", locked=True)
        with tempfile.TemporaryDirectory() as place:
            blend = Path(place) / "job.blend"
            pack_here.blend(bpy.data.collections[before.name], blend)

            def write(progress: Progress) -> None:
                progress(0.0, "tables and pages")
                files = pack_files(record, pictures)
                progress(0.4, "Blender file")
                files["job.blend"] = pack_here.compressed(blend.read_bytes())
                write_pack(folder, files, replace, lambda share, name: progress(0.8 + 0.2 * share, name))

            yield from beside(write, 0.88, 1.0, wait)
        written: Any = bpy.data.collections.get(before.name)
        if written is not None:
            written.seamwright.pack_written, written.seamwright.pack_folder = stamp, folder
        return f"Job pack written to {folder}"


class SEAMWRIGHT_OT_joints_write(OnCarving, WritesFile, bpy.types.Operator):
    """Write the joints as JOINTS.json, for the command line"""

    bl_idname = "seamwright.joints_write"
    bl_label = "Write JOINTS.json"

    filter_glob: StringProperty(default="*.json", options={"HIDDEN"})
    file_name = "JOINTS.json"

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Write the file."""
        job = job_tree.active_job(context)
        path = self.path()
        try:
            joints = read_joints(job, scale_of(context))
            pairs = zip((str(obj.get("mark", "")) for obj in job_tree.joints(job)), joints, strict=True)
            path.write_text(joints_json(pairs), encoding="utf-8")
        except (OSError, SeamwrightError) as error:
            self.report({"ERROR"}, f"{path.name}: cannot be written: {error}")
            return {"CANCELLED"}
        self.report({"INFO"}, f"{path.name} written")
        return {"FINISHED"}


CLASSES = (SEAMWRIGHT_OT_pack_export, SEAMWRIGHT_OT_joints_write)
