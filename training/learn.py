"""Make scenes and learn from them: `python training/learn.py --out FOLDER [--seconds S]`.

Runs on a GPU where there is one, on the CPU else (slow: for the tests). Goes on from the folder's
checkpoint if it has one (or from `--resume`), and writes one when the time is over. Within the time
the rate falls to nothing, so that every part ends with a network worth keeping.
"""

import argparse
import json
import math
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import scenes
import torch
from network import EdgeNetwork, doubt, likeliest, loss, mixture
from strips import CHANNELS, PLACES, ROWS, made

TRAINING_SEED = 1000  # scenes are seeded (TRAINING_SEED + part, number); checks with CHECK_SEED
CHECK_SEED = 77


def batch(seed, count, device, size=384):
    drawn = {k: torch.from_numpy(v).to(device) for k, v in scenes.draw(seed, count).items()}
    generator = torch.Generator(device=device)
    generator.manual_seed(int(drawn["noise_seed"][0]))
    given, at, state, _ = made(drawn, size, generator)
    return given, at, state


def mirrored(given, at, state):
    """The same rows seen in a mirror: their order and the picture's direction turn round."""
    given = given.flip(2).clone()
    given[:, 11] *= -1
    return given, at.flip(1), state.flip(1)


def make(number, makers, part, count, size, device, queue):
    """A process that makes scenes without end; every `makers`-th number is its own."""
    device = torch.device(device)
    torch.set_num_threads(2)
    while True:
        given, at, state = batch([TRAINING_SEED + part, number], count, device, size)
        queue.put((given.half().cpu(), at.cpu(), state.to(torch.int8).cpu()))
        number += makers


class Made:
    """Batches of scenes, made by processes on `devices`, or by this one where there are none."""

    def __init__(self, options, device):
        self.options, self.device, self.number = options, device, 0
        self.queue, self.processes = None, []
        devices = [d for d in options.makers.split(",") if d]
        if devices:
            torch.multiprocessing.set_sharing_strategy("file_system")
            context = torch.multiprocessing.get_context("spawn")
            self.queue = context.Queue(maxsize=6)
            for k, place in enumerate(devices):
                given = (
                    k,
                    len(devices),
                    options.part,
                    options.scenes,
                    options.size,
                    place,
                    self.queue,
                )
                self.processes.append(context.Process(target=make, args=given, daemon=True))
                self.processes[-1].start()

    def fresh(self, needed):
        """The next batch; None where none is ready and none is `needed`."""
        if self.queue is None:
            self.number += 1
            seed = [TRAINING_SEED + self.options.part, self.number - 1]
            return batch(seed, self.options.scenes, self.device, self.options.size)
        if not needed and self.queue.empty():
            return None
        return [t.to(self.device, non_blocking=True) for t in self.queue.get()]

    def stop(self):
        for process in self.processes:
            process.terminate()


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


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--resume", type=Path)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--part", type=int, default=0)
    parser.add_argument("--most", type=int, default=10**9, help="steps")
    parser.add_argument("--scenes", type=int, default=144, help="made at a time")
    parser.add_argument("--batch", type=int, default=192)
    parser.add_argument("--pool", type=int, default=20000)
    parser.add_argument("--steps", type=int, default=8, help="for each making")
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--size", type=int, default=384)
    parser.add_argument("--makers", default="", help="devices of processes that make scenes")
    parser.add_argument("--checks", type=int, default=4)
    options = parser.parse_args()
    began = time.time()
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    torch.backends.cudnn.benchmark = True
    torch.manual_seed(options.part)
    options.out.mkdir(parents=True, exist_ok=True)
    network = EdgeNetwork().to(device)
    optimizer = torch.optim.AdamW(network.parameters(), lr=options.rate, weight_decay=1e-3)
    step, seen = 0, 0
    checkpoint = options.resume or options.out / "checkpoint.pt"
    if checkpoint.exists():
        state = torch.load(checkpoint, map_location=device)
        network.load_state_dict(state["network"])
        optimizer.load_state_dict(state["optimizer"])
        step, seen = state["step"], state["seen"]
    checks = [
        batch([CHECK_SEED, i], options.scenes, device, options.size) for i in range(options.checks)
    ]
    pool = [
        torch.empty(options.pool, CHANNELS, ROWS, PLACES, dtype=torch.float16, device=device),
        torch.empty(options.pool, ROWS, device=device),
        torch.zeros(options.pool, ROWS, dtype=torch.int64, device=device),
    ]
    filled, number, making, learning, mean = 0, 0, 0.0, 0.0, 0.0
    network.train()
    scaler = torch.amp.GradScaler(enabled=device.type == "cuda")
    source = Made(options, device)
    print(
        f"start {time.time() - began:.0f} s,",
        f"{sum(w.numel() for w in network.parameters())} weights",
        flush=True,
    )
    log = []
    said = time.time()
    enough = min(4 * options.batch, options.pool - options.scenes)
    while time.time() - began < options.seconds and step < options.most:
        t = time.time()
        while (fresh := source.fresh(filled < enough)) is not None:
            start = (number * options.scenes) % (options.pool - options.scenes + 1)
            for kept, new in zip(pool, fresh, strict=True):
                kept[start : start + options.scenes] = new
            number += 1
            seen += options.scenes
            filled = max(filled, start + options.scenes)
            if source.queue is None and filled >= enough:
                break
        making += time.time() - t
        t = time.time()
        for _ in range(options.steps):
            pick = torch.randint(filled, (options.batch,), device=device)
            given, at, known = (kept[pick] for kept in pool)
            if step % 2:
                given, at, known = mirrored(given, at, known)
            share = min((time.time() - began) / options.seconds, 1)
            rate = options.rate * min(1, (step + 1) / 300) * 0.5 * (1 + math.cos(math.pi * share))
            for group in optimizer.param_groups:
                group["lr"] = max(rate, 1e-6)
            with torch.autocast(device.type, dtype=torch.float16, enabled=device.type == "cuda"):
                out = network(given.float() if device.type == "cpu" else given)
            now = loss(mixture(*out), at, known)
            optimizer.zero_grad(set_to_none=True)
            scaler.scale(now).backward()
            scaler.unscale_(optimizer)
            torch.nn.utils.clip_grad_norm_(network.parameters(), 1.0)
            scaler.step(optimizer)
            scaler.update()
            step += 1
            mean = now.detach() if step == 1 else 0.99 * mean + 0.01 * now.detach()
        if device.type == "cuda":
            torch.cuda.synchronize()
        learning += time.time() - t
        if time.time() - said > 30:
            said = time.time()
            entry = {
                "seconds": round(time.time() - began),
                "step": step,
                "scenes": seen,
                "mean": float(mean),
                **figures(network, checks),
            }
            log.append(entry)
            print(
                json.dumps({k: round(v, 4) for k, v in entry.items()}),
                f"making {making:.0f} learning {learning:.0f}",
                flush=True,
            )
    entry = {
        "seconds": round(time.time() - began),
        "step": step,
        "scenes": seen,
        "mean": float(mean),
        **figures(network, checks),
    }
    log.append(entry)
    print(
        json.dumps({k: round(v, 4) for k, v in entry.items()}),
        f"making {making:.0f} learning {learning:.0f}",
        flush=True,
    )
    source.stop()
    torch.save(
        {
            "network": network.state_dict(),
            "optimizer": optimizer.state_dict(),
            "step": step,
            "seen": seen,
            "version": scenes.VERSION,
        },
        options.out / "checkpoint.pt",
    )
    (options.out / f"log-{options.part}.json").write_text(
        json.dumps(
            {
                "generator": scenes.VERSION,
                "device": str(device),
                "options": {k: str(v) for k, v in vars(options).items()},
                "log": log,
            },
            indent=1,
        )
    )


if __name__ == "__main__":
    main()
