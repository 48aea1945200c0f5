"""The packages are folders at the top level and become one package: one line for each.

`samples` has no modules: its files travel with the page, which offers the sample job to try.
"""

from setuptools import find_packages, setup

ROOMS = ("trace", "fit", "pocket", "api", "desk")
DATA = ("samples",)

setup(
    package_dir={"snugline": "base"} | {f"snugline.{room}": room for room in ROOMS + DATA},
    packages=["snugline"]
    + [f"snugline.{room}" for room in ROOMS + DATA]
    + [f"snugline.{room}.{inner}" for room in ROOMS for inner in find_packages(room)],
)
