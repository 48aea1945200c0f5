"""Write the network as ONNX for the program: `python training/export.py CHECKPOINT OUT.onnx`."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import torch
from half_floats import halved
from network import EdgeNetwork, widths_of
from strips import CHANNELS, PLACES
from torch import nn
from torch.nn.utils.fusion import fuse_conv_bn_eval


def plain(network):
    """The same network with its normalisations folded into the convolutions."""
    network.eval()
    for module in network.modules():
        for name, child in list(module.named_children()):
            if (
                isinstance(child, nn.Sequential)
                and len(child) == 2
                and isinstance(child[1], nn.BatchNorm2d)
            ):
                setattr(module, name, fuse_conv_bn_eval(child[0], child[1]))
    return network


def export(checkpoint, out, rows=256):
    state = torch.load(checkpoint, map_location="cpu")["network"]
    network = EdgeNetwork(widths_of(state))
    network.load_state_dict(state)
    given = torch.zeros(1, CHANNELS, rows, PLACES)
    torch.onnx.export(
        plain(network),
        (given,),
        str(out),
        input_names=["rows"],
        output_names=["place", "open"],
        opset_version=13,
        dynamo=False,
    )
    halved(str(out))


if __name__ == "__main__":
    export(*sys.argv[1:3])
