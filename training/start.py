"""Go on from shipped weights: `python training/start.py WEIGHTS.onnx CHECKPOINT.pt [WIDTHS]`.

The exported network has its normalisations folded into its convolutions; here they are unfolded
again over made scenes, so that it says the same. With more channels than the shipped one has
(WIDTHS, as in 32,64,96) it begins with new ones that nothing listens to yet.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
import scenes
import torch
from half_floats import weights_of
from making import batch
from network import WIDTHS, EdgeNetwork
from torch import nn

_PART = 900  # of the seeds; no training part uses it


def _filled(new, old):
    """`new` with `old` in its first rows and columns, and nothing in the columns beyond those."""
    new = new.clone()
    part = tuple(slice(0, n) for n in old.shape)
    if new.ndim > 1:
        new[: old.shape[0], old.shape[1] :] = 0
    new[part] = torch.from_numpy(np.array(old))
    return new


def started(weights, widths=WIDTHS, scenes_made=12):
    """A network that says what the exported one (ONNX) says."""
    given = weights_of(str(weights))
    network = EdgeNetwork(widths)
    rows = batch([_PART, 0], scenes_made, torch.device("cpu"))[0]
    hooks = []
    for name, module in network.named_modules():
        if isinstance(module, nn.Conv2d) and module.bias is not None:
            module.weight.data = _filled(module.weight.data, given[f"{name}.weight"])
            module.bias.data = _filled(module.bias.data, given[f"{name}.bias"])
        if isinstance(module, nn.Sequential) and isinstance(module[-1], nn.BatchNorm2d):
            convolution, norm = module
            convolution.weight.data = _filled(convolution.weight.data, given[f"{name}.weight"])
            bias = torch.from_numpy(np.array(given[f"{name}.bias"]))

            def unfold(norm, inputs, bias=bias):
                seen = inputs[0]
                mean, variance = seen.mean((0, 2, 3)), seen.var((0, 2, 3), unbiased=False)
                norm.running_mean.copy_(mean)
                norm.running_var.copy_(variance)
                size = torch.sqrt(variance + norm.eps)
                norm.weight.data[: len(bias)] = size[: len(bias)]
                norm.bias.data[: len(bias)] = mean[: len(bias)] + bias

            hooks.append(norm.register_forward_pre_hook(unfold))
    network.eval()
    with torch.no_grad():
        network(rows)
    for hook in hooks:
        hook.remove()
    return network, rows


if __name__ == "__main__":
    asked = tuple(int(w) for w in sys.argv[3].split(",")) if len(sys.argv) > 3 else WIDTHS
    begun, _ = started(sys.argv[1], asked)
    torch.save(
        {"network": begun.state_dict(), "step": 0, "seen": 0, "version": scenes.VERSION},
        sys.argv[2],
    )
