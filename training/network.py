"""The network: rows of light across a border to a distribution over the edge's place in each row.

A U-shaped stack of convolutions over rows and places. Each pair of rows and each pair of places
share one output cell of 2 x 2 x 3 numbers: how likely the edge lies there, by how much beside the
place's middle, and how widely spread. Two numbers more for each pair of rows say that it cannot be
told.
"""

import math

import torch
from strips import CHANNELS, FIRST, PLACES
from torch import nn
from torch.nn.functional import interpolate, relu

WIDTHS = (32, 56, 80)
FARTHEST_OFF, NARROWEST, WIDEST = 2.0, -4.4, 1.5  # px; natural logarithm of the scale in px


class _Block(nn.Module):
    def __init__(self, width):
        super().__init__()
        self.first, self.second = _conv(width, width), _conv(width, width)

    def forward(self, x):
        return relu(x + self.second(relu(self.first(x))))


def _conv(inside, outside, kernel=3, stride=1, padding=1):
    return nn.Sequential(
        nn.Conv2d(inside, outside, kernel, stride, padding, bias=False),
        nn.BatchNorm2d(outside, momentum=0.02),
    )


class EdgeNetwork(nn.Module):
    """(B, CHANNELS, N, PLACES) to (B, 12, N / 2, PLACES / 2) and (B, 2, N / 2, 1); 8 divides N."""

    def __init__(self, widths=WIDTHS):
        super().__init__()
        a, b, c = widths
        self.stem = _conv(CHANNELS, a, 4, 2, 1)
        self.one = nn.Sequential(_Block(a), _Block(a))
        self.down_two = _conv(a, b, 3, 2, 1)
        self.two = nn.Sequential(_Block(b), _Block(b))
        self.down_three = _conv(b, c, 3, 2, 1)
        self.three = nn.Sequential(_Block(c), _Block(c))
        self.up_two = _conv(c, b, 1, 1, 0)
        self.two_again = _Block(b)
        self.up_one = _conv(b, a, 1, 1, 0)
        self.one_again = _Block(a)
        self.place = nn.Conv2d(a, 12, 1)
        self.open = nn.Conv2d(a, 2, (1, PLACES // 2))

    def forward(self, x):
        one = self.one(relu(self.stem(x)))
        two = self.two(relu(self.down_two(one)))
        three = self.three(relu(self.down_three(two)))
        two = self.two_again(
            relu(two + interpolate(self.up_two(three), scale_factor=2.0, mode="nearest"))
        )
        one = self.one_again(
            relu(one + interpolate(self.up_one(two), scale_factor=2.0, mode="nearest"))
        )
        return self.place(one), self.open(one)


def widths_of(state):
    """The widths of a network by its weights (a dict by name)."""
    return tuple(len(state[f"{name}.0.weight"]) for name in ("stem", "down_two", "down_three"))


def mixture(place, open_):
    """(B, N, PLACES) log shares, middles and log scales, and (B, N) log odds of not telling."""
    n, _, rows, cells = place.shape
    place = (
        place.reshape(n, 2, 2, 3, rows, cells)
        .permute(0, 4, 1, 5, 2, 3)
        .reshape(n, 2 * rows, 2 * cells, 3)
    )
    shares = torch.log_softmax(place[..., 0].float(), -1)
    middle = torch.arange(2 * cells, device=place.device) + float(FIRST)
    middle = middle + FARTHEST_OFF * torch.tanh(place[..., 1].float() / 2)
    scale = place[..., 2].float().clamp(NARROWEST, WIDEST)
    return shares, middle, scale, open_[..., 0].permute(0, 2, 1).reshape(n, -1).float()


def doubt(given, at):
    """(B, N) minus the logarithm of the density, for each px, that a mixture gives a place."""
    shares, middle, scale, open_ = given
    z = ((at[..., None] - middle) * torch.exp(-scale)).abs()
    logistic = -z - 2 * torch.nn.functional.softplus(-z) - scale
    told = torch.logsumexp(shares + logistic, -1) + torch.nn.functional.logsigmoid(-open_)
    untold = torch.nn.functional.logsigmoid(open_) - math.log(PLACES)
    return -torch.logaddexp(told, untold)


def loss(given, at, state):
    """Mean doubt of rows that are told (state 1); where the edge is beyond (2), of not telling."""
    told = doubt(given, at)
    beyond = -torch.nn.functional.logsigmoid(given[3])
    rows = torch.where(state == 1, told, beyond)
    known = state > 0
    return (rows * known).sum() / known.sum().clamp_min(1)


def likeliest(given):
    """(B, N) place, its standard deviation in px, and the chance that it cannot be told."""
    shares, middle, scale, open_ = given
    near = (middle[..., :, None] - middle[..., None, :]).abs() < 1.5
    mass = (torch.exp(shares)[..., None, :] * near).sum(-1)
    best = (mass).argmax(-1, keepdim=True)
    own = torch.exp(shares) * ((middle - middle.gather(-1, best)).abs() < 1.5)
    total = own.sum(-1)
    place = (own * middle).sum(-1) / total
    spread = (own * (middle - place[..., None]) ** 2).sum(-1) / total
    width = (own * (torch.exp(scale) * 1.8138) ** 2).sum(-1) / total
    return place, torch.sqrt(spread + width), torch.sigmoid(open_), total
