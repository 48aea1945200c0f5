"""Weights of an exported network put back where it learns.

Exported, a network has its normalisations folded into its convolutions. Here they are unfolded
again over made pictures, so that it says the same and learns on.
"""

import numpy as np
import torch
from torch import nn


def _filled(new, old):
    """`new` with `old` in its first rows and columns, and nothing in the columns beyond those."""
    new = new.clone()
    part = tuple(slice(0, n) for n in old.shape)
    if new.ndim > 1:
        new[: old.shape[0], old.shape[1] :] = 0
    new[part] = torch.from_numpy(np.array(old))
    return new


def unfolded(network, given, shown):
    """`network` with the weights `given` by name, its normalisations as for what is `shown`.

    It may have more channels than were given: nothing listens to those yet.
    """
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
        network(shown)
    for hook in hooks:
        hook.remove()
    return network
