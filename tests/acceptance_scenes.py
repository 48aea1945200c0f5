"""Rendered photos of a card, a coin or a block on a printed sheet, with known errors built in."""

from dataclasses import dataclass, field

import numpy as np
from light_render import Lamp, Material, Scene, render
from made_views import camera_over, phone_lens
from printed_sheet import Sheet
from sensor import Sensor, developed, save_photo
from solid_parts import RoundedRectangle, Solid, superellipse

from snugline.trace.sheet.frame_description import read_frame

DARK_BLUE, DARK_GREY, COPPER = (0.05, 0.10, 0.22), (0.10, 0.10, 0.11), (0.30, 0.20, 0.14)


@dataclass(frozen=True)
class Laid:
    """An object as it really is, and the print and view that it is photographed with.

    Attributes
    ----------
    sizes : mm, length, width and corner radius, or a diameter.
    print_scale : of the sheet in x and y.
    at : mm, from the middle of the window.
    view : height in mm; tilt, azimuth and roll in degrees.
    """

    sizes: tuple
    thickness: float
    edge_radius: float = 0.0
    colour: tuple = DARK_BLUE
    print_scale: tuple = (1.0, 1.0)
    at: tuple = (3.0, -2.0)
    turn: float = 0.2
    view: tuple = (300.0, 12.0, 40.0, 10.0)
    lamp: tuple = (-900.0, 700.0, 1100.0)
    radial: tuple = (0.02, -0.03, 0.01, 0.0)
    sensor: Sensor = field(default_factory=Sensor)
    seed: int = 1


FRAME = read_frame("border-a4")

# A card of its nominal size (one that is off by 0.06 mm is too near to the usual limit to be
# decided), on a print 0.3 % too large. Its lamp stands high: from the side the edges of a dark card
# that lie in its own shade are placed up to 0.1 mm outside.
HIGH = (-450.0, 350.0, 1200.0)
CARD_THAT_PASSES = Laid((85.60, 53.98, 3.18), 0.76, print_scale=(1.003, 1.003), lamp=HIGH)


def photograph(laid, path):
    """Render it and write the photo."""
    middle = FRAME.window.mean(axis=0)
    outline = (
        superellipse(laid.sizes[0], laid.sizes[0], 2.0)
        if len(laid.sizes) == 1
        else RoundedRectangle(*laid.sizes)
    )
    solid = Solid(
        outline,
        laid.thickness,
        "round" if laid.edge_radius else "none",
        laid.edge_radius,
        origin=tuple(middle + laid.at),
        turn=laid.turn,
    )
    scene = Scene(
        camera=camera_over(middle, *laid.view, phone_lens(radial=laid.radial)),
        sheet=Sheet(FRAME, laid.print_scale, 0.02),
        solid=solid,
        material=Material(laid.colour, "plain", 0.0, 0.03, 0.4),
        lamps=(Lamp(tuple(np.append(middle, 0.0) + laid.lamp), 400.0, 0.6),),
        room=0.4,
        seed=laid.seed,
    )
    rgb = developed(render(scene), laid.sensor, laid.seed)
    save_photo(path, rgb, 26, laid.sensor.quality)
