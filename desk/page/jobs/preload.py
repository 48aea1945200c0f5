"""Everything that the server's work needs, loaded once before the first piece of it comes."""

from importlib import import_module

for _name in (
    "ezdxf",
    "fpdf",
    "pillow_heif",
    "scipy.optimize",
    "shapely",
    "skimage",
    "snugline.desk.page.jobs.page_answers",
    "snugline.desk.page.jobs.measured_record",
    "snugline.desk.page.jobs.worker_tasks",
    "snugline.desk.job_run",
    "snugline.pocket.plan",
):
    import_module(_name)
