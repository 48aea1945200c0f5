"""The network: a rectified picture of a sheet to what each px of half the size shows.

A U of convolutions, 1 mm to 16 mm a cell, so that what a place is may be told by the whole sheet.
Each cell of 2 mm gives four kinds for each of its 2 x 2 px of 1 mm.
"""

import torch
from pictures import CHANNELS
from torch import nn
from torch.nn.functional import interpolate, pixel_shuffle, relu

WIDTHS = (16, 32, 60, 88, 88)
KINDS = 4


def conv(inside, outside, kernel=3, stride=1, dilation=1):
    around = dilation * (kernel - 1) // 2
    return nn.Sequential(
        nn.Conv2d(inside, outside, kernel, stride, around, dilation, bias=False),
        nn.BatchNorm2d(outside, momentum=0.02),
    )


class Block(nn.Module):
    def __init__(self, width, dilation=1):
        super().__init__()
        self.first, self.second = conv(width, width), conv(width, width, dilation=dilation)

    def forward(self, x):
        return relu(x + self.second(relu(self.first(x))))


class CoarseNetwork(nn.Module):
    """(B, CHANNELS, H, W) to log odds (B, KINDS, H / 2, W / 2); 32 divides H and W."""

    def __init__(self, widths=WIDTHS):
        super().__init__()
        a, b, c, d, e = widths
        self.stem = conv(CHANNELS, a, 4, 2)
        self.two = nn.Sequential(conv(a, b, 3, 2), nn.ReLU(), Block(b))
        self.four = nn.Sequential(conv(b, c, 3, 2), nn.ReLU(), Block(c))
        self.eight = nn.Sequential(conv(c, d, 3, 2), nn.ReLU(), Block(d))
        self.sixteen = nn.Sequential(conv(d, e, 3, 2), nn.ReLU(), Block(e, 2), Block(e, 3))
        self.up_eight, self.eight_again = conv(e, d, 1), Block(d)
        self.up_four, self.four_again = conv(d, c, 1), Block(c)
        self.up_two, self.two_again = conv(c, b, 1), Block(b)
        self.kinds = nn.Conv2d(b, 4 * KINDS, 1)

    def forward(self, x):
        two = self.two(relu(self.stem(x)))
        four = self.four(two)
        eight = self.eight(four)
        sixteen = self.sixteen(eight)
        eight = self.eight_again(relu(eight + _twice(self.up_eight(sixteen))))
        four = self.four_again(relu(four + _twice(self.up_four(eight))))
        two = self.two_again(relu(two + _twice(self.up_two(four))))
        return self.kinds(two)


def _twice(x):
    return interpolate(x, scale_factor=2.0, mode="nearest")


def split(out):
    """(B, KINDS, H / 2, W / 2) of the network's 2 x 2 px cells."""
    return pixel_shuffle(out, 2)


def loss(out, shares, weight):
    """Mean cross-entropy against the shares that each px shows; borders count six times."""
    given = torch.log_softmax(split(out).float(), 1)
    part = shares[:, 2:3]
    near = torch.nn.functional.max_pool2d(part, 9, 1, 4) + torch.nn.functional.max_pool2d(
        -part, 9, 1, 4
    )
    weight = weight * (1 + 5 * near[:, 0])
    return -(weight * (given * shares).sum(1)).sum() / weight.sum().clamp_min(1)
