"""Circles against published fits, the NIST reference pairs and the traps of the field."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from snugline.errors import FitError
from snugline.fit.corners.circle import METHODS, fit_circle, fit_circle_algebraic

# Gander, Golub, Strebel, "Least-squares fitting of circles and ellipses", BIT 34 (1994) 558-578.
SIX = np.array([[1, 7], [2, 6], [5, 8], [7, 7], [9, 5], [3, 7.0]])
# The paper's figures for svd and geometric to four decimals; all recomputed to six.
SIX_FITS = {
    "svd": (5.379413, 7.253198, 3.037041),
    "kasa": (773 / 163, 5001 / 1304, 4.108762),
    "pratt": (4.615482, 2.807354, 4.911302),
    "taubin": (4.613933, 2.795209, 4.879213),
}


def arc(radius, angle, n=400, noise=0.0, seed=0, centre=(0.0, 0.0), start=0.3):
    rng = np.random.default_rng(seed)
    t = start + np.linspace(0, angle, n)
    r = radius + noise * rng.standard_normal(n)
    return np.stack([centre[0] + r * np.cos(t), centre[1] + r * np.sin(t)], axis=1)


def test_the_geometric_fit_of_the_six_points_is_the_published_one():
    fit = fit_circle(SIX)
    assert fit.centre == pytest.approx((4.739782, 2.983533), abs=5e-7)
    assert fit.radius == pytest.approx(4.714226, abs=5e-7)
    assert fit.residuals @ fit.residuals == pytest.approx(1.227599, abs=5e-7)
    printed = [0.773759, -0.639244, 0.308986, -0.105474, -0.000884, -0.337143]
    assert fit.residuals == pytest.approx(printed, abs=6e-7)


@pytest.mark.parametrize("method", SIX_FITS)
def test_the_algebraic_fits_of_the_six_points_are_the_published_ones(method):
    fit = fit_circle_algebraic(SIX, method)
    assert (*fit.centre, fit.radius) == pytest.approx(SIX_FITS[method], abs=6e-7)


def test_the_geometric_fit_has_the_least_squared_distance_of_all():
    squares = [
        float(f.residuals @ f.residuals) for m in METHODS if (f := fit_circle_algebraic(SIX, m))
    ]
    assert len(squares) == len(METHODS)
    assert float(fit_circle(SIX).residuals @ fit_circle(SIX).residuals) < min(squares)


def test_pratts_four_points_give_his_circle():
    # Pratt, "Direct least-squares fitting of algebraic surfaces", SIGGRAPH 1987.
    fit = fit_circle_algebraic(np.array([[-1, 0], [-0.3, -0.06], [0.3, 0.1], [1, 0.0]]), "pratt")
    assert fit.centre == pytest.approx((0.4908357, -22.15212), abs=5e-6)
    assert fit.radius == pytest.approx(22.18006, abs=5e-6)


# NIST Algorithm Testing reference pairs (ASME B89.4.10-2000), level 2, circles in space.
NIST = {
    "circle 7": (
        [
            [166.06239, 357.99318, -248.65012],
            [166.06249, 358.35155, -248.88295],
            [166.06261, 358.77188, -248.9608],
            [166.06253, 359.18991, -248.87177],
            [166.06264, 359.54202, -248.62959],
        ],
        (166.06237927907827959, 358.75731987468872231, -247.86599426058799146),
        2.1897898774673132767,
    ),
    "circle 25": (
        [
            [-1.17061, -4.03721, 1.1854],
            [3.59079, -2.41909, 3.10493],
            [6.49137, 1.8827, 1.69055],
            [5.34474, 5.6517, -1.97252],
            [1.00282, 6.14618, -5.2288],
            [-3.34276, 2.77849, -5.51067],
            [-4.33024, -1.80011, -2.63458],
        ],
        (1.0531479999887281196, 1.1851140718563435852, -1.368495583739087268),
        12.521087532457717045,
    ),
}


@pytest.mark.parametrize("name", NIST)
def test_the_nist_reference_circles_come_out_to_a_billionth(name):
    points, centre, diameter = NIST[name]
    # The circle lies in the points' least-squares plane.
    origin = np.mean(points, axis=0)
    axes = np.linalg.svd(points - origin)[2][:2]
    fit = fit_circle((points - origin) @ axes.T)
    assert np.abs(origin + fit.centre @ axes - centre).max() < 1e-9
    assert abs(2 * fit.radius - diameter) < 1e-9


@pytest.mark.parametrize("degrees", [5, 20, 90, 180, 360])
@pytest.mark.parametrize("offset", [0.0, 1e6])
def test_exact_arcs_of_any_length_come_back_even_far_from_the_origin(degrees, offset):
    fit = fit_circle(arc(25.0, np.radians(degrees), centre=(offset, -offset)))
    # Coordinates of 1e6 are rounded to 1e-10; a 5 degree arc magnifies that some 2,000 times.
    tolerance = 1e-9 if offset == 0 else 1e-7 * (90 / degrees) ** 2
    assert fit.radius == pytest.approx(25.0, abs=tolerance)
    assert fit.centre == pytest.approx((offset, -offset), abs=tolerance)


def test_methods_agree_on_a_smooth_quarter_arc():
    points = arc(25.0, np.pi / 2, noise=0.1)
    radii = [fit_circle_algebraic(points, m).radius for m in METHODS[1:]]
    fit = fit_circle(points)
    assert np.ptp([*radii, fit.radius]) < np.sqrt(fit.covariance[2, 2])


def test_the_covariance_is_the_spread_over_trials():
    fits = [fit_circle(arc(25.0, np.pi / 2, noise=0.05, seed=k)) for k in range(300)]
    spread = np.std([f.radius for f in fits])
    stated = np.sqrt(np.mean([f.covariance[2, 2] for f in fits]))
    assert stated == pytest.approx(spread, rel=0.15)


def test_the_bound_of_a_quarter_arc_is_the_one_recomputed_elsewhere():
    # Check values, section 11.4: 90 degree arc alone, 0.1 mm pitch, sigma 0.05 mm.
    for radius, bound in ((6, 0.0530), (25, 0.0259), (30, 0.0237)):
        n = round(radius * np.pi / 2 / 0.1)
        fit = fit_circle(arc(radius, np.pi / 2 * (1 - 1 / n), n), np.full(n, 0.05))
        assert np.sqrt(fit.covariance[2, 2]) == pytest.approx(bound, rel=0.02)


def test_stated_sigmas_weigh_the_points():
    points = arc(25.0, np.pi, 200)
    points[::2] *= 1.01
    sigma = np.where(np.arange(200) % 2 == 0, 100.0, 0.01)
    assert fit_circle(points, sigma).radius == pytest.approx(25.0, abs=1e-6)


def test_a_million_points_are_fitted_and_duplicates_change_nothing():
    points = arc(25.0, np.pi / 2, 1_000_000, noise=0.05)
    fit = fit_circle(points)
    assert abs(fit.radius - 25) < 4 * np.sqrt(fit.covariance[2, 2])
    some = points[::1000]
    once, twice = fit_circle(some), fit_circle(np.concatenate([some, some]))
    assert twice.radius == pytest.approx(once.radius, abs=1e-10)


@pytest.mark.parametrize(
    ("points", "reason"),
    [
        ([[0, 0], [1, 1], [2, 2], [5, 5]], "straight"),
        ([[1e6, 0], [1e6 + 0.1, 0.1], [1e6 + 0.2, 0.2]], "straight"),
        ([[3, 3], [3, 3], [3, 3]], "coincide"),
        ([[0, 0], [1, 2], [0, 0], [1, 2]], "straight"),
    ],
)
def test_points_that_determine_no_circle_give_a_false_value_with_its_reason(points, reason):
    for fit in (fit_circle(np.array(points)), fit_circle_algebraic(np.array(points), "hyper")):
        assert not fit
        assert reason in fit.reason


@pytest.mark.parametrize(
    ("points", "sigma", "text"),
    [
        ([[0, 0], [1, 0]], None, "three or more"),
        ([0.0, 1.0, 2.0], None, "shape"),
        ([[0, 0], [1, 0], [0, np.nan]], None, "not finite"),
        ([[0, 0], [1, 0], [0, 1]], [1.0, 1.0, 0.0], "positive"),
    ],
)
def test_arguments_that_are_no_points_raise(points, sigma, text):
    with pytest.raises(FitError, match=text):
        fit_circle(np.array(points), sigma)


def test_an_unknown_algebraic_method_raises():
    with pytest.raises(FitError, match="kasa"):
        fit_circle_algebraic(SIX, "landau")


def test_other_libraries_find_the_same_circles():
    circle_fit = pytest.importorskip("circle_fit")
    points = arc(25.0, 1.0, noise=0.2)
    for method, other in (("taubin", circle_fit.taubinSVD), ("hyper", circle_fit.hyperSVD)):
        x, y, radius, _ = other(points)
        fit = fit_circle_algebraic(points, method)
        assert (*fit.centre, fit.radius) == pytest.approx((x, y, radius), abs=1e-8)
    found = least_squares(
        lambda p: np.hypot(points[:, 0] - p[0], points[:, 1] - p[1]) - p[2],
        [1.0, 1.0, 20.0],
        xtol=1e-15,
        ftol=1e-15,
        gtol=1e-15,
    )
    fit = fit_circle(points)
    assert (*fit.centre, fit.radius) == pytest.approx(tuple(found.x), abs=1e-6)


@pytest.mark.parametrize("method", ["geometric", *METHODS])
def test_a_point_of_half_the_sigma_counts_four_times(method):
    """Weights are 1 / sigma^2: four equal points say what one of half the sigma says."""
    points = arc(20, 1.5, n=12, noise=0.3, seed=5, centre=(3, -2))
    sigma = np.where(np.arange(12) < 5, 0.5, 1.0)
    many = np.concatenate([points, *[points[:5]] * 3])

    def fitted(xy, s):
        return fit_circle(xy, s) if method == "geometric" else fit_circle_algebraic(xy, method, s)

    one, other = fitted(points, sigma), fitted(many, None)
    assert (*one.centre, one.radius) == pytest.approx((*other.centre, other.radius), rel=1e-7)


def test_how_straight_points_may_be():
    """A line is told from an arc down to the rounding of the coordinates, at any size and place."""
    for scale, far in ((1.0, 0.0), (1e-3, 0.0), (1e4, 1e5)):
        x = np.linspace(-1, 1, 41)
        line = np.column_stack([x, 2 * x]) * scale + far
        assert not fit_circle(line)
        bowed = np.column_stack([x, 0.01 * x * x]) * scale + far
        assert fit_circle(bowed).radius == pytest.approx(50 * scale, rel=0.01)
