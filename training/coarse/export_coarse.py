"""Write the network as ONNX: `python training/coarse/export_coarse.py CHECKPOINT OUT.onnx`.

Weights are kept as half floats, which OpenCV widens when it reads them.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parent))

import torch
from coarse_network import CoarseNetwork
from half_floats import halved
from pictures import CHANNELS, HEIGHT, WIDTH
from torch import nn
from torch.nn.utils.fusion import fuse_conv_bn_eval


def plain(network):
    """The same network with its normalisations folded into the convolutions."""
    network.eval()
    for module in network.modules():
        for name, child in list(module.named_children()):
            folded = isinstance(child, nn.Sequential) and len(child) == 2
            if folded and isinstance(child[1], nn.BatchNorm2d):
                setattr(module, name, fuse_conv_bn_eval(child[0], child[1]))
    return network


def export(checkpoint, out):
    network = CoarseNetwork()
    if checkpoint != "-":
        network.load_state_dict(torch.load(checkpoint, map_location="cpu")["network"])
    torch.onnx.export(
        plain(network),
        (torch.zeros(1, CHANNELS, HEIGHT, WIDTH),),
        str(out),
        input_names=["sheet"],
        output_names=["kinds"],
        opset_version=13,
        dynamo=False,
    )
    halved(str(out))


if __name__ == "__main__":
    export(*sys.argv[1:3])
