"""Go on from shipped weights: `python training/coarse/start_coarse.py WEIGHTS.onnx CHECKPOINT.pt`.

The exported network has its normalisations folded into its convolutions; here they are unfolded
again over made sheets, so that it says the same.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parent))

import torch
from coarse_network import CoarseNetwork
from half_floats import weights_of
from learn_coarse import VERSION, batch
from torch import nn

_SEED = 77 * 10**6  # no pictures for learning or checks have it


def started(weights, sheets=8):
    """A network that says what the exported one (ONNX) says, and what it was given."""
    given = {name: torch.tensor(v) for name, v in weights_of(str(weights)).items()}
    network = CoarseNetwork()
    shown = batch(_SEED, sheets, torch.device("cpu"))[0]
    hooks = []
    for name, module in network.named_modules():
        if isinstance(module, nn.Conv2d) and module.bias is not None:
            module.weight.data = given[f"{name}.weight"]
            module.bias.data = given[f"{name}.bias"]
        if isinstance(module, nn.Sequential) and isinstance(module[-1], nn.BatchNorm2d):
            convolution, norm = module
            convolution.weight.data = given[f"{name}.weight"]

            def unfold(norm, inputs, bias=given[f"{name}.bias"]):
                mean = inputs[0].mean((0, 2, 3))
                variance = inputs[0].var((0, 2, 3), unbiased=False)
                norm.running_mean.copy_(mean)
                norm.running_var.copy_(variance)
                norm.weight.data = torch.sqrt(variance + norm.eps)
                norm.bias.data = mean + bias

            hooks.append(norm.register_forward_pre_hook(unfold))
    network.eval()
    with torch.no_grad():
        network(shown)
    for hook in hooks:
        hook.remove()
    return network, shown


if __name__ == "__main__":
    begun, _ = started(sys.argv[1])
    torch.save(
        {"network": begun.state_dict(), "step": 0, "seen": 0, "version": VERSION}, sys.argv[2]
    )
