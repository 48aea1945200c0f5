"""Everything that the server's work needs, loaded once before the first piece of it comes."""

from importlib import import_module

for _name in (
    "ezdxf",
    "fpdf",
    "pillow_heif",
    "scipy.optimize",
    "shapely",
    "skimage",
    "snugline.desk.page.answers",
    "snugline.desk.page.measured_record",
    "snugline.desk.page.work",
    "snugline.desk.run",
    "snugline.pocket.plan",
):
    import_module(_name)
