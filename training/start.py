"""Go on from shipped weights: `python training/start.py WEIGHTS.onnx CHECKPOINT.pt [WIDTHS]`.

The exported network has its normalisations folded into its convolutions; here they are unfolded
again over made scenes, so that it says the same. With more channels than the shipped one has
(WIDTHS, as in 32,64,96) it begins with new ones that nothing listens to yet.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import scenes
import torch
from half_floats import weights_of
from making import batch
from network import WIDTHS, EdgeNetwork
from unfold import unfolded

_PART = 900  # of the seeds; no training part uses it


def started(weights, widths=WIDTHS, scenes_made=12):
    """A network that says what the exported one (ONNX) says."""
    given = weights_of(str(weights))
    network = EdgeNetwork(widths)
    rows = batch([_PART, 0], scenes_made, torch.device("cpu"))[0]
    return unfolded(network, given, rows), rows


if __name__ == "__main__":
    asked = tuple(int(w) for w in sys.argv[3].split(",")) if len(sys.argv) > 3 else WIDTHS
    begun, _ = started(sys.argv[1], asked)
    torch.save(
        {"network": begun.state_dict(), "step": 0, "seen": 0, "version": scenes.VERSION},
        sys.argv[2],
    )
