"""What a Python user gets from `import snugline` alone."""

import subprocess
import sys
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import shapely

import snugline
from snugline.errors import InputError, PlanError
from snugline.fit.geometry.primitives import circle, rounded_rectangle

SAMPLE = Path(__file__).parents[2] / "samples" / "basalt-plate-in-ash-board"


@pytest.fixture(scope="module")
def fitted() -> snugline.FittedOutline:
    points = rounded_rectangle(150, 80, 12).sampled(0.5)
    return snugline.fit_outline([snugline.Contour.of_points(points, sigma=0.02)])


@pytest.mark.whole
def test_five_lines_lead_from_photos_to_a_dxf(tmp_path, monkeypatch):
    monkeypatch.chdir(SAMPLE)
    # The README's example: keep it at five lines.
    photos = ["left-end.jpg", "right-end.jpg"]
    contours = snugline.measure(photos, "frame.json", "5.27 mm", edge_radius="0.8 mm", draft=0.5,
                                bar_x="199.17 mm", bar_y="120.23 mm")  # fmt: skip
    tape = snugline.Reading.of("length", "16 7/16 in", "417.5 mm", tool="tape")
    fitted = snugline.fit_outline(contours, ["left end", "right end"], [tape], thickness=5.27)
    snugline.write_dxf(snugline.plan_pocket(fitted, "0.4 mm"), tmp_path / "pocket.dxf")

    # The sample's photos are rendered: its README gives the true sizes.
    assert fitted.width.value == pytest.approx(118.5, abs=0.1)
    assert fitted.corners[0].params["radius"].value == pytest.approx(27.4, abs=0.1)
    (pocket,) = ezdxf.readfile(tmp_path / "pocket.dxf").modelspace().query("LWPOLYLINE")
    assert pocket.closed


def test_importing_the_package_loads_no_heavy_library():
    code = "import snugline, sys; print({'cv2', 'scipy', 'shapely', 'numpy'} & set(sys.modules))"
    out = subprocess.run([sys.executable, "-P", "-c", code], capture_output=True, text=True)
    assert out.stdout.strip() == "set()", out.stderr


def test_every_public_name_is_there_and_no_other():
    for name in snugline.__all__:
        assert getattr(snugline, name) is not None
    assert set(snugline.__all__) <= set(dir(snugline))
    with pytest.raises(AttributeError, match="no attribute 'outline_fit'"):
        snugline.outline_fit  # noqa: B018


def test_outlines_contours_and_plans_draw_themselves(fitted):
    plan = snugline.plan_pocket(fitted, "0.4 mm", thickness="5 mm")
    contour = snugline.Contour.of_points([(0, 0), (30, 0), (30, 10)], 0.02, closed=False)
    for thing in (fitted.outline, fitted, plan, contour):
        picture = thing._repr_svg_()
        assert picture.startswith("<svg")
        assert 'd="M' in picture


def test_shapely_takes_outlines_and_contours(fitted):
    # Area of a rounded rectangle: L W - (4 - pi) R^2.
    area = 150 * 80 - (4 - np.pi) * 12**2
    assert shapely.geometry.shape(rounded_rectangle(150, 80, 12)).area == pytest.approx(
        area, rel=1e-5
    )
    assert shapely.geometry.shape(fitted).area == pytest.approx(area, rel=1e-3)
    line = snugline.Contour.of_points([(0, 0), (30, 0), (30, 10)], 0.02, closed=False)
    assert shapely.geometry.shape(line).length == pytest.approx(40)


def test_a_plan_of_several_pockets_is_asked_which(tmp_path, fitted):
    plan = snugline.plan_pocket(fitted, ["0.4 mm", 0.6], thickness="5 mm")
    with pytest.raises(PlanError, match="name one"):
        snugline.write_svg(plan, tmp_path / "a.svg")
    snugline.write_svg(plan, tmp_path / "a.svg", clearance="0.6 mm")
    assert (tmp_path / "a.svg").is_file()


def test_the_estimators_of_a_circle_and_a_corner_are_at_the_door():
    points = circle(20, (5, 3)).sampled(1.0)
    found = snugline.fit_circle(points)
    assert (*found.centre, found.radius) == pytest.approx((5, 3, 20), abs=1e-6)
    rng = np.random.default_rng(5)
    arc = rounded_rectangle(200, 160, 25).sampled(0.2)
    near = arc[(arc[:, 0] > 40) & (arc[:, 1] > 20)]
    corner = snugline.fit_corner(near + rng.normal(0, 0.02, near.shape), np.full(len(near), 0.02))
    assert abs(corner.params[0] - 25) < 3 * corner.u[0]


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda f: snugline.plan_pocket(f, "0.4 mm"), "no thickness"),
        (lambda f: snugline.plan_pocket(f, "0.4 mm", thickness="5"), "no unit"),
        (lambda f: snugline.plan_pocket(f, "0.4 mm", thickness=5, seet="flush"), "not known"),
        (lambda f: snugline.fit_outline([], ["whole"]), "0 contours"),
        (lambda f: snugline.measure(["a.jpg"], [], "5 mm"), "no frame"),
        (lambda f: snugline.measure(["a.jpg"], "border-a4", 5, edge_radius=1, edge_chamfer=1),
         "both"),
    ],
)  # fmt: skip
def test_what_cannot_be_meant_is_refused(fitted, call, match):
    with pytest.raises(InputError, match=match):
        call(fitted)
