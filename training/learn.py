"""Make scenes and learn from them: `python training/learn.py --out FOLDER [--seconds S]`.

Runs on a GPU where there is one, on the CPU else (slow: for the tests). Goes on from the folder's
checkpoint if it has one (or from `--resume`), and writes one every half minute. Within the time the
rate falls to nothing, so that every part ends with a network worth keeping. A file `end` in the
folder, with the time of the end (seconds since 1970), sets another end while it learns. What is
kept and judged is the mean of the weights over the last 1,500 steps.
"""

import argparse
import json
import math
import sys
import time
from copy import deepcopy
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import scenes
import torch
from making import CHECK_SEED, Made, batch
from network import WIDTHS, EdgeNetwork, doubt, likeliest, loss, mixture, widths_of
from strips import CHANNELS, PLACES, ROWS

_SCALED = 1024.0  # gradients, so that half precision holds them
_WARM = 300  # steps until the full rate
_MEAN_OF = 1500  # steps, over which the weights are averaged, fewer at the beginning
_FOLDED = 4  # every fourth step sees every second row only, as the program's first look does


def mirrored(given, at, state):
    """The same rows seen in a mirror: their order and the picture's direction turn round."""
    given = given.flip(2)
    given[:, 11] *= -1
    return given, at.flip(1), state.flip(1)


def folded(given, at, state):
    """Every second row, up and down again: rows of twice the step, half of them mirrored."""
    rows = given.shape[2]
    order = torch.arange(rows, device=given.device)
    order = torch.cat([order[::2], order[1::2].flip(0)])
    given = given[:, :, order]
    given[:, 11, rows // 2 :] *= -1
    return given, at[:, order], state[:, order]


class Mean:
    """The weights averaged over the last steps, normalisations included."""

    def __init__(self, network):
        self.network = deepcopy(network)
        self.own, self.of = (
            [w for w in n.state_dict().values() if w.is_floating_point()]
            for n in (self.network, network)
        )

    @torch.no_grad()
    def add(self, steps, taken):
        """`steps` more were taken since the last time, `taken` in all."""
        torch._foreach_lerp_(self.own, self.of, steps / min(_MEAN_OF, steps + taken / 4))


@torch.no_grad()
def figures(network, checks):
    """What the record keeps: loss, share of sure rows, of those the ones wrong by over a pixel."""
    network.eval()
    total, rows, sure, wrong, gross, square, offs = 0.0, 0, 0, 0, 0, 0.0, []
    for given, at, state in checks:
        with torch.autocast(given.device.type, dtype=torch.float16, enabled=given.is_cuda):
            out = network(given.float())
        m = mixture(*out)
        known = state == 1
        place, sigma, untold, share = likeliest(m)
        off = (place - at)[known]
        is_sure = ((sigma < 0.15) & (share * (1 - untold) > 0.98))[known]
        total += doubt(m, at)[known].sum().item()
        rows += int(known.sum())
        sure += int(is_sure.sum())
        wrong += int((is_sure & (off.abs() > 1)).sum())
        gross += int((off.abs() > 1).sum())
        good = off[is_sure & (off.abs() < 1)]
        square += float((good**2).sum())
        offs.append((off / sigma[known])[is_sure].abs())
    ratio = (
        float(torch.cat(offs).quantile(0.683))
        if sure and sum(map(len, offs)) < 10_000_000
        else float("nan")
    )
    network.train()
    return {
        "loss": total / max(rows, 1),
        "gross": gross / max(rows, 1),
        "sure": sure / max(rows, 1),
        "wrong_of_sure": wrong / max(sure, 1),
        "rms_of_sure": math.sqrt(square / max(sure, 1)),
        "error_over_sigma": ratio,
    }


class Learner:
    """One step after the other; on a GPU recorded once and played again."""

    def __init__(self, network, rate, size, device):
        self.network, self.device, self.cuda = network, device, device.type == "cuda"
        self.rate = torch.tensor(rate, device=device) if self.cuda else rate
        self.optimizer = torch.optim.AdamW(
            network.parameters(), lr=self.rate, weight_decay=1e-3, capturable=self.cuda
        )
        kind = torch.float16 if self.cuda else torch.float32
        self.given = torch.zeros(size, CHANNELS, ROWS, PLACES, dtype=kind, device=device)
        self.at = torch.zeros(size, ROWS, device=device)
        self.state = torch.zeros(size, ROWS, dtype=torch.int64, device=device)
        self.doubt = torch.zeros((), device=device)
        self.graph, self.recorded = None, None

    def _step(self):
        with torch.autocast(
            self.device.type, dtype=torch.float16, enabled=self.cuda, cache_enabled=False
        ):
            given = self.given.contiguous(memory_format=torch.channels_last)
            out = self.network(given)
        now = loss(mixture(*out), self.at, self.state)
        (now * _SCALED).backward()
        gradients = [w.grad for w in self.network.parameters()]
        for gradient in gradients:
            gradient.nan_to_num_(0.0, 0.0, 0.0)
        norm = torch.linalg.vector_norm(torch.stack([g.norm() for g in gradients])) / _SCALED
        torch._foreach_mul_(gradients, 1 / (_SCALED * norm.clamp_min(1.0)))
        self.optimizer.step()
        self.doubt.copy_(now.detach())

    def step(self, given, at, state, rate):
        """Learn from a batch at a rate."""
        self.given.copy_(given)
        self.at.copy_(at)
        self.state.copy_(state)
        if not self.cuda:
            for group in self.optimizer.param_groups:
                group["lr"] = rate
            self.optimizer.zero_grad(set_to_none=True)
            self._step()
            return
        self.rate.fill_(rate)
        if self.graph is None and self.recorded is None:
            try:
                self._record()
                self.recorded = True
            except RuntimeError as error:  # then every step is told anew, more slowly
                print("not recorded:", error, flush=True)
                self.graph, self.recorded = None, False
        if self.graph is None:
            self.optimizer.zero_grad(set_to_none=True)
            self._step()
            return
        self.graph.replay()

    def _record(self):
        side = torch.cuda.Stream()
        side.wait_stream(torch.cuda.current_stream())
        kept = [w.detach().clone() for w in self.network.state_dict().values()]
        with torch.cuda.stream(side):
            for _ in range(4):
                self.optimizer.zero_grad(set_to_none=True)
                self._step()
        torch.cuda.current_stream().wait_stream(side)
        self.optimizer.zero_grad(set_to_none=True)
        self.graph = torch.cuda.CUDAGraph()
        with torch.cuda.graph(self.graph, capture_error_mode="thread_local"):
            self._step()
        # The steps that only warmed it up are undone; what the optimizer remembers of them fades.
        with torch.no_grad():
            for own, old in zip(self.network.state_dict().values(), kept, strict=True):
                own.copy_(old)


class Pool:
    """The scenes that are learned from; new ones take the place of the oldest."""

    def __init__(self, count, device):
        kind = torch.float16 if device.type == "cuda" else torch.float32
        self.kept = (
            torch.empty(count, CHANNELS, ROWS, PLACES, dtype=kind, device=device),
            torch.empty(count, ROWS, device=device),
            torch.zeros(count, ROWS, dtype=torch.int64, device=device),
        )
        self.filled = self.start = 0

    def add(self, fresh):
        count = len(fresh[0])
        if self.start + count > len(self.kept[0]):
            self.start = 0
        for kept, new in zip(self.kept, fresh, strict=True):
            kept[self.start : self.start + count] = new
        self.start += count
        self.filled = max(self.filled, self.start)

    def some(self, count, step):
        pick = torch.randint(self.filled, (count,), device=self.kept[0].device)
        chosen = tuple(kept[pick] for kept in self.kept)
        chosen = folded(*chosen) if step % _FOLDED == 0 else chosen
        return mirrored(*chosen) if step % 2 else chosen


def _options():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--resume", type=Path)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--part", type=int, default=0)
    parser.add_argument("--most", type=int, default=10**9, help="steps")
    parser.add_argument("--scenes", type=int, default=144, help="made at a time")
    parser.add_argument("--batch", type=int, default=192)
    parser.add_argument("--pool", type=int, default=20000)
    parser.add_argument("--steps", type=int, default=8, help="for each look at what was made")
    parser.add_argument("--uses", type=float, default=12, help="of each scene, at most")
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--size", type=int, default=384)
    parser.add_argument("--makers", default="", help="devices of processes that make scenes")
    parser.add_argument("--checks", type=int, default=4)
    return parser.parse_args()


def main():
    """Learn until the time is over; every half minute say how far, and keep what was learned."""
    options, began = _options(), time.time()
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    torch.backends.cudnn.benchmark = True
    torch.manual_seed(options.part)
    options.out.mkdir(parents=True, exist_ok=True)
    source = Made(options, device)
    checkpoint = options.resume or options.out / "checkpoint.pt"
    state = torch.load(checkpoint, map_location=device) if checkpoint.exists() else None
    network = EdgeNetwork(widths_of(state["network"]) if state else WIDTHS).to(device)
    if device.type == "cuda":
        network = network.to(memory_format=torch.channels_last)
    learner = Learner(network, options.rate, options.batch, device)
    step, seen = 0, 0
    if state:
        network.load_state_dict(state.get("learning", state["network"]))
        if "moments" in state:
            learner.optimizer.load_state_dict(state["moments"])
            for group in learner.optimizer.param_groups:
                group["lr"] = learner.rate
        step, seen = state["step"], state["seen"]
    mean = Mean(network)
    if state:
        mean.network.load_state_dict(state["network"])
    weights = sum(w.numel() for w in network.parameters())
    checks = [
        batch([CHECK_SEED, i], options.scenes, device, options.size) for i in range(options.checks)
    ]
    pool, log, first, had = Pool(options.pool, device), [], step, seen
    print(f"start {time.time() - began:.0f} s, {weights} weights", flush=True)

    def say():
        entry = {
            "seconds": round(time.time() - began),
            "step": step,
            "scenes": seen,
            "now": float(learner.doubt),
            **figures(mean.network, checks),
        }
        log.append(entry)
        print(json.dumps({k: round(v, 4) for k, v in entry.items()}), flush=True)
        state = {"network": mean.network.state_dict(), "learning": network.state_dict()}
        state |= {"moments": learner.optimizer.state_dict()}
        state |= {"step": step, "seen": seen, "version": scenes.VERSION}
        torch.save(state, options.out / "checkpoint.new")
        (options.out / "checkpoint.new").replace(options.out / "checkpoint.pt")

    said, enough = time.time(), min(4 * options.batch, options.pool - options.scenes)
    network.train()
    end = began + options.seconds
    while time.time() < end and step < options.most:
        while (fresh := source.fresh(pool.filled < enough)) is not None:
            pool.add(fresh)
            seen += options.scenes
            if source.queue is None and pool.filled >= enough:
                break
        if (step - first) * options.batch > options.uses * (seen - had):
            time.sleep(0.01)
            continue
        for _ in range(options.steps):
            share = min((time.time() - began) / max(end - began, 1e-3), 1)
            warm = min(1, (step - first + 1) / _WARM)
            rate = max(options.rate * warm * 0.5 * (1 + math.cos(math.pi * share)), 1e-6)
            learner.step(*pool.some(options.batch, step), rate)
            step += 1
        mean.add(options.steps, step - first)
        if device.type == "cuda":
            torch.cuda.synchronize()
        if time.time() - said > 30:
            said = time.time()
            say()
            told = options.out / "end"
            end = float(told.read_text()) if told.exists() else end
    say()
    source.stop()
    record = {
        "generator": scenes.VERSION,
        "device": str(device),
        "options": {k: str(v) for k, v in vars(options).items()},
        "log": log,
    }
    (options.out / f"log-{options.part}.json").write_text(json.dumps(record, indent=1))


if __name__ == "__main__":
    main()
