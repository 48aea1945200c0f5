"""The packages are folders at the top level and become one package: one line for each."""

from setuptools import find_packages, setup

ROOMS = ("trace", "fit", "pocket", "api", "desk")

setup(
    package_dir={"snugline": "base"} | {f"snugline.{room}": room for room in ROOMS},
    packages=["snugline"]
    + [f"snugline.{room}" for room in ROOMS]
    + [f"snugline.{room}.{inner}" for room in ROOMS for inner in find_packages(room)],
)
