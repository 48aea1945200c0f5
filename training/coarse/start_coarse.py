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
from unfold import unfolded

_SEED = 77 * 10**6  # no pictures for learning or checks have it


def started(weights, sheets=8):
    """A network that says what the exported one (ONNX) says, and what it was given."""
    shown = batch(_SEED, sheets, torch.device("cpu"))[0]
    return unfolded(CoarseNetwork(), weights_of(str(weights)), shown), shown


if __name__ == "__main__":
    begun, _ = started(sys.argv[1])
    torch.save(
        {"network": begun.state_dict(), "step": 0, "seen": 0, "version": VERSION}, sys.argv[2]
    )
