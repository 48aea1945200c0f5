"""Made scenes without end: by processes on other cards, or by this one where there are none."""

import queue
import time

import light
import materials
import scenes
import shapes
import stretch
import torch
from strips import made

TRAINING_SEED = 1000  # scenes are seeded (TRAINING_SEED + part, number); checks with CHECK_SEED
CHECK_SEED = 77
_PATIENCE = 90.0  # seconds, for the processes' first scenes
# Chains of what is computed for each place of a picture: fused on a GPU, each into a kernel. Short
# ones, called again and again: a kernel of all of it took six minutes to compile.
_CHAINS = (
    (stretch, "_next_layer"),
    (light, "_less"),
    (light, "_lit"),
    (light, "_seen_in"),
    (materials, "_ink"),
    (materials, "_pattern"),
    (shapes.Outline, "distance"),
)
_PLAIN = [(place, name, getattr(place, name)) for place, name in _CHAINS]


def batch(seed, count, device, size=384):
    """Rows (count, CHANNELS, ROWS, PLACES), the edge's place and state of scenes by seed."""
    drawn = {k: torch.from_numpy(v).to(device) for k, v in scenes.draw(seed, count).items()}
    generator = torch.Generator(device=device)
    generator.manual_seed(int(drawn["noise_seed"][0]))
    given, at, state, _ = made(drawn, size, generator)
    return given, at, state


def fuse():
    """Let torch write one kernel for each of the long chains of light.py, where it can."""
    torch._dynamo.config.suppress_errors = True
    for place, name, own in _PLAIN:
        setattr(place, name, torch.compile(own, dynamic=True))


def unfuse():
    for place, name, own in _PLAIN:
        setattr(place, name, own)


def make(number, makers, part, count, size, place, ready):
    """A process that makes scenes without end; every `makers`-th number is its own.

    `place` is a device, or device=SECONDS for one that only helps at the beginning.
    """
    name, _, seconds = place.partition("=")
    device, began = torch.device(name), time.time()
    torch.set_num_threads(2)
    fused = device.type == "cuda" and not seconds
    if device.type == "cuda":
        torch.cuda.set_device(device)
    if fused:
        fuse()
    said, told = 0, began
    while not seconds or time.time() - began < float(seconds):
        try:
            given, at, state = batch([TRAINING_SEED + part, number], count, device, size)
        except RuntimeError as error:
            if not fused:
                raise
            print(f"{place}: not fused: {error}", flush=True)
            unfuse()
            fused = False
            continue
        ready.put((given.half().cpu(), at.cpu(), state.to(torch.int8).cpu()))
        number += makers
        said += 1
        if said in (1, 20, 100, 400):
            took, told = time.time() - told, time.time()
            print(f"{place}: batch {said} after {took:.1f} s more", flush=True)
    while True:  # what it has handed on lives in its memory
        time.sleep(60)


class Made:
    """Batches of scenes."""

    def __init__(self, options, device):
        self.options, self.device, self.number = options, device, 0
        self.queue, self.processes = None, []
        places = [p for p in options.makers.split(",") if p]
        if not places:
            return
        torch.multiprocessing.set_sharing_strategy("file_system")
        context = torch.multiprocessing.get_context("spawn")
        self.queue = context.Queue(maxsize=6)
        o = options
        for k, place in enumerate(places):
            given = (k, len(places), o.part, o.scenes, o.size, place, self.queue)
            self.processes.append(context.Process(target=make, args=given, daemon=True))
            self.processes[-1].start()

    def fresh(self, needed):
        """The next batch; None where none is ready and none is `needed`."""
        if self.queue is None:
            return self._own()
        if not needed and self.queue.empty():
            return None
        try:
            return [t.to(self.device, non_blocking=True) for t in self.queue.get(timeout=_PATIENCE)]
        except queue.Empty:  # no process is left
            self.queue = None
            return self._own()

    def _own(self):
        self.number += 1
        seed = [TRAINING_SEED + self.options.part, 10**6 * bool(self.processes) + self.number]
        return batch(seed, self.options.scenes, self.device, self.options.size)

    def stop(self):
        """End the processes."""
        for process in self.processes:
            process.terminate()
