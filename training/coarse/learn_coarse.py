"""Make pictures and learn from them: `python training/coarse/learn_coarse.py --out FOLDER`.

Runs on all GPUs there are, on the CPU else (slow: to try it); each makes pictures of its own, and
their gradients are averaged. Goes on from the folder's checkpoint; within the time the rate falls
to nothing, so that each part ends with a network worth keeping; a number in the folder's file
`end` sets another time while it runs. What is kept and checked is the
mean of the weights over the last thousand steps or so.
"""

import argparse
import copy
import json
import math
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import torch
import torch.distributed as others
from coarse_network import CoarseNetwork, loss, split
from pictures import CHANNELS, HEIGHT, PART, WIDTH, made

VERSION = 4
# Pictures are seeded (TRAINING_SEED + part) * 10^6 + EACH_CARD * card + number.
TRAINING_SEED, CHECK_SEED, EACH_CARD = 5000, 78, 100_000
KEPT = 0.996  # of the mean of the weights at each making


def batch(seed, count, device):
    generator = torch.Generator(device=device)
    generator.manual_seed(seed)
    with torch.no_grad():
        return made(count, generator, device)


def mirrored(given, shares, weight, across, down):
    """The same sheets seen in a mirror."""
    axes = [a for a, on in ((-1, across), (-2, down)) if on]
    if not axes:
        return given, shares, weight
    given = given.flip(axes).clone()
    given[:, 8] *= -1 if across else 1
    given[:, 9] *= -1 if down else 1
    return given, shares.flip(axes), weight.flip(axes)


@torch.no_grad()
def figures(network, checks):
    """Loss; shares of judged px wrong, sure (98 %) and wrong of the sure; pictures far off."""
    network.eval()
    total = torch.zeros(5)
    bad = []
    for given, shares, weight in checks:
        with torch.autocast(given.device.type, dtype=torch.bfloat16, enabled=given.is_cuda):
            out = network(given.float())
        p = torch.softmax(split(out).float(), 1)[:, PART]
        judged = weight > 0.9
        clear = judged & ((shares[:, PART] - 0.5).abs() > 0.4)
        wrong = clear & ((p > 0.5) != (shares[:, PART] > 0.5))
        sure = clear & ((p - 0.5).abs() > 0.48)
        total += torch.tensor([loss(out, shares, weight).item() * len(given), len(given), 0, 0, 0])
        total[2] += wrong.sum().item() / max(clear.sum().item(), 1) * len(given)
        total[3] += sure.sum().item() / max(clear.sum().item(), 1) * len(given)
        total[4] += (sure & wrong).sum().item() / max(sure.sum().item(), 1) * len(given)
        bad.append((wrong.flatten(1).sum(1) > 50).float())
    network.train()
    n = total[1]
    names = ("loss", "wrong", "sure", "wrong_of_sure")
    values = [total[0] / n, total[2] / n, total[3] / n, total[4] / n]
    return dict(zip(names, map(float, values), strict=True)) | {
        "off_by_50_mm2": float(torch.cat(bad).mean())
    }


def agreed(network, spent, device, cards):
    """Average the gradients over all cards; the time spent is theirs in the mean, too."""
    if cards == 1:
        return spent
    slopes = [w.grad for w in network.parameters()]
    flat = torch.cat([g.flatten() for g in slopes] + [torch.tensor([spent], device=device)])
    others.all_reduce(flat)
    *parts, clock = (flat / cards).split([g.numel() for g in slopes] + [1])
    for slope, part in zip(slopes, parts, strict=True):
        slope.copy_(part.view_as(slope))
    return clock.item()


@torch.no_grad()
def averaged(mean, network, times):
    """Draw the mean of the weights towards the present ones; faster at first."""
    share = max(1 - KEPT, 1 / (times + 1))
    pairs = zip(mean.state_dict().values(), network.state_dict().values(), strict=True)
    kept, now = zip(*((k, n) for k, n in pairs if k.is_floating_point()), strict=True)
    torch._foreach_lerp_(list(kept), list(now), share)


def learn(card, cards, options):
    began = time.time()
    device = torch.device("cuda", card) if torch.cuda.is_available() else torch.device("cpu")
    if device.type == "cuda":
        torch.cuda.set_device(device)
    if cards > 1:
        where = f"tcp://127.0.0.1:{options.port}"
        others.init_process_group("nccl", init_method=where, rank=card, world_size=cards)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    torch.backends.cudnn.benchmark = True
    torch.manual_seed(options.part)
    options.out.mkdir(parents=True, exist_ok=True)
    network = CoarseNetwork().to(device, memory_format=torch.channels_last)
    optimizer = torch.optim.AdamW(network.parameters(), lr=options.rate, weight_decay=1e-3)
    step, seen, log = 0, 0, []
    checkpoint = options.resume or options.out / "checkpoint.pt"
    if checkpoint.exists():
        state = torch.load(checkpoint, map_location=device)
        network.load_state_dict(state.get("latest", state["network"]))
        if "optimizer" in state:
            optimizer.load_state_dict(state["optimizer"])
        step, seen = state["step"], state["seen"]
    mean = copy.deepcopy(network)
    if checkpoint.exists():
        mean.load_state_dict(state["network"])
    torch.manual_seed(1000 * options.part + card)

    def save():
        torch.save(
            {"network": mean.state_dict(), "latest": network.state_dict(),
             "optimizer": optimizer.state_dict(), "step": step, "seen": seen, "version": VERSION},
            options.out / "checkpoint.pt.new",
        )  # fmt: skip
        (options.out / "checkpoint.pt.new").replace(options.out / "checkpoint.pt")
        (options.out / f"log-{options.part}.json").write_text(
            json.dumps({"options": {k: str(v) for k, v in vars(options).items()}, "log": log})
        )

    def noted():
        entry = {
            "seconds": round(time.time() - began),
            "step": step,
            "seen": seen,
            "mean": float(at),
        }
        log.append(entry | figures(mean, checks))
        print(json.dumps({k: round(v, 4) for k, v in log[-1].items()}),
              f"making {making:.0f} learning {learning:.0f}", flush=True)  # fmt: skip
        save()

    checks = [
        batch(CHECK_SEED * 10**6 + i, options.pictures, device)
        for i in range(options.checks if card == 0 else 0)
    ]
    n = options.pool
    kind = torch.bfloat16 if device.type == "cuda" else torch.float32
    pool = [
        torch.empty(n, CHANNELS, HEIGHT, WIDTH, dtype=kind, device=device),
        torch.empty(n, 4, HEIGHT // 2, WIDTH // 2, dtype=kind, device=device),
        torch.empty(n, HEIGHT // 2, WIDTH // 2, dtype=kind, device=device),
    ]
    seed = (TRAINING_SEED + options.part) * 10**6 + EACH_CARD * card
    filled, number, making, learning, at, spent, said = 0, 0, 0.0, 0.0, 0.0, 0.0, time.time()
    first, last = step, options.seconds - 8
    size = sum(w.numel() for w in network.parameters())
    print(f"start {time.time() - began:.0f} s, {size} weights, {device}", flush=True)
    while spent < last and step < first + options.most:
        if (options.out / "end").exists():
            last = float((options.out / "end").read_text()) - 8
        t = time.time()
        while True:
            fresh = batch(seed + number, options.pictures, device)
            start = (number * options.pictures) % (n - options.pictures + 1)
            for kept, new in zip(pool, fresh, strict=True):
                kept[start : start + options.pictures] = new
            number, seen = number + 1, seen + options.pictures * cards
            filled = max(filled, start + options.pictures)
            if filled >= min(8 * options.batch, n - options.pictures):
                break
        if device.type == "cuda":
            torch.cuda.synchronize()
        making += time.time() - t
        t = time.time()
        for _ in range(options.steps):
            pick = torch.randint(filled, (options.batch,), device=device)
            flips = torch.rand(2) < 0.5
            given, shares, weight = mirrored(*(kept[pick] for kept in pool), *flips.tolist())
            given = given.contiguous(memory_format=torch.channels_last)
            with torch.autocast(device.type, dtype=torch.bfloat16, enabled=device.type == "cuda"):
                out = network(given)
            now = loss(out, shares.float(), weight.float())
            optimizer.zero_grad(set_to_none=True)
            now.backward()
            spent = agreed(network, time.time() - began, device, cards)
            rate = options.rate * min(1, (step - first + 1) / 200)
            rate *= 0.5 * (1 + math.cos(math.pi * min(spent / last, 1)))
            for group in optimizer.param_groups:
                group["lr"] = max(rate, 1e-6)
            torch.nn.utils.clip_grad_norm_(network.parameters(), 1.0)
            optimizer.step()
            step += 1
            at = now.detach() if step == first + 1 else 0.98 * at + 0.02 * now.detach()
            if spent >= last:
                break
        if not math.isfinite(float(at)):  # back to what was good
            network.load_state_dict(mean.state_dict())
            optimizer = torch.optim.AdamW(network.parameters(), lr=rate, weight_decay=1e-3)
            at = torch.zeros((), device=device)
        averaged(mean, network, number)
        learning += time.time() - t
        if card == 0 and time.time() - said > options.every:
            said = time.time()
            noted()
    if card == 0:
        noted()
    if cards > 1:
        others.destroy_process_group()


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--resume", type=Path)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--part", type=int, default=0)
    parser.add_argument("--pictures", type=int, default=24, help="made at a time")
    parser.add_argument("--batch", type=int, default=32, help="on each card")
    parser.add_argument("--pool", type=int, default=6000)
    parser.add_argument("--steps", type=int, default=4, help="for each making")
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--checks", type=int, default=12)
    parser.add_argument("--every", type=float, default=60, help="seconds between checks")
    parser.add_argument("--most", type=int, default=10**9, help="steps")
    parser.add_argument("--port", type=int, default=29501)
    options = parser.parse_args()
    cards = max(torch.cuda.device_count(), 1)
    if cards == 1:
        learn(0, 1, options)
    else:
        torch.multiprocessing.spawn(learn, (cards, options), cards)


if __name__ == "__main__":
    main()
