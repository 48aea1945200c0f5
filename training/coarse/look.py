"""A sheet of made pictures and what they show: `python training/coarse/look.py OUT.png [SEED]`."""

import sys

import cv2
import numpy as np
import torch
from pictures import made


def shown(given, shares):
    luma = (given[0] + 1) / 2
    red = given[1] * (luma + 0.08) / 3
    blue = given[2] * (luma + 0.08) / 3 + luma
    # luma = 0.299 (g + r') + 0.587 g + 0.114 b
    green = (luma - 0.299 * red - 0.114 * blue) / 0.886
    rgb = np.stack([blue, green, green + red], -1)
    small = cv2.resize(np.clip(rgb * 200, 0, 255).astype(np.float32), None, fx=0.5, fy=0.5,
                       interpolation=cv2.INTER_AREA)  # fmt: skip
    colours = np.array([[255, 255, 255], [150, 150, 150], [60, 60, 220], [60, 200, 60]])
    kinds = np.tensordot(shares, colours, (0, 0))
    return np.hstack([small, kinds])


def main(out, seed="1", count="12"):
    generator = torch.Generator()
    generator.manual_seed(int(seed))
    given, shares, _ = made(int(count), generator, torch.device("cpu"))
    tiles = [shown(g, s) for g, s in zip(given.numpy(), shares.numpy(), strict=True)]
    rows = [np.hstack(tiles[i : i + 3]) for i in range(0, len(tiles) // 3 * 3, 3)]
    cv2.imwrite(out, cv2.resize(np.vstack(rows), None, fx=0.8, fy=0.8))


if __name__ == "__main__":
    main(*sys.argv[1:])
