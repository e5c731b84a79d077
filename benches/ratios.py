#!/usr/bin/env python3
"""Speed and memory of the report beside the least that anyone could do with the same file: the table of
docs/performance.md.

    benches/ratios.py [--megabytes N] [--runs N] [--dir DIR] [--only PART]

Builds what it needs, writes big recordings into DIR (kept for the next time), and runs floor and report by turns on
files that are in the page cache; the shortest time of each counts. Times mean something on a quiet machine only.
Needs cargo, Python 3 without packages, and GNU time. PART is one of: ratios, memory, devices, many.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
RELEASE = os.path.join(ROOT, "target", "release")
REPORT = [os.path.join(RELEASE, "leadsman"), "report", "--format", "json"]
FLOOR = [os.path.join(RELEASE, "examples", "floor")]
BIG = [os.path.join(RELEASE, "examples", "big")]

# Kind, share of the size, the figure that must be kept and the one aimed at (times the floor).
KINDS = [
    ("ethernet", 1.0, 3.0, 1.5),
    ("pcapng", 1.0, 3.0, 1.5),
    ("socketcan", 1.0, 12.0, 6.0),
    ("can-log", 0.5, 5.0, 3.0),
    ("line-log", 0.5, 0.8, 0.4),
]


def run(command):
    """Seconds on the wall, seconds of processor, and the peak of memory in KiB."""
    seconds, processor, peak, _ = watched(command, subprocess.DEVNULL)
    return seconds, processor, peak


def watched(command, out):
    """As run, and what the command wrote, when `out` is a pipe."""
    # A child of this interpreter would count the interpreter's memory, which it shares before it becomes the command.
    with tempfile.NamedTemporaryFile() as note:
        timed = ["/usr/bin/time", "-o", note.name, "-f", "%M", *command]
        began = time.perf_counter()
        process = subprocess.Popen(timed, stdout=out)
        written = process.stdout.read() if process.stdout else None
        _, status, used = os.wait4(process.pid, 0)
        seconds = time.perf_counter() - began
        # The process was waited for here, not by the library.
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode != 0:
            sys.exit(f"{' '.join(command)} failed with status {process.returncode}")
        return seconds, used.ru_utime + used.ru_stime, int(note.read().split()[-1]), written


def best(command, runs):
    """The shortest of some runs, and the largest peak of memory."""
    results = [run(command) for _ in range(runs)]
    return min(r[0] for r in results), min(r[1] for r in results), max(r[2] for r in results)


def made(folder, kind, megabytes, devices=None):
    """A big recording, made unless it lies there from the last time."""
    name = f"{kind}-{megabytes}" + (f"-{devices}" if devices else "")
    path = os.path.join(folder, name)
    if not os.path.exists(path):
        more = [str(devices)] if devices else []
        subprocess.run([*BIG, kind, str(megabytes), path + ".part", *more], check=True)
        os.rename(path + ".part", path)
    with open(path, "rb") as file:
        while file.read(1 << 24):
            pass
    return path


def ratios(folder, megabytes, runs):
    print("| recording | MB | floor s | report s | processor s | times the floor | at most | aim | KiB |")
    print("|---|--:|--:|--:|--:|--:|--:|--:|--:|")
    for kind, share, most, aim in KINDS:
        size = max(1, int(megabytes * share))
        path = made(folder, kind, size)
        floors, reports = [], []
        # By turns, so that a busy moment of the machine meets both.
        for _ in range(runs):
            floors.append(run([*FLOOR, kind, path]))
            reports.append(run([*REPORT, path]))
        floor, report = min(f[0] for f in floors), min(r[0] for r in reports)
        processor, memory = min(r[1] for r in reports), max(r[2] for r in reports)
        print(
            f"| {kind} | {size} | {floor:.2f} | {report:.2f} | {processor:.2f} | {report / floor:.2f} "
            f"| {most} | {aim} | {memory} |",
            flush=True,
        )


def memory(folder, runs, sizes):
    print("| recording | " + " | ".join(f"{size} MB, KiB" for size in sizes) + " | grows by |")
    print("|---|" + "--:|" * (len(sizes) + 1))
    for kind, *_ in KINDS:
        peaks = [best([*REPORT, made(folder, kind, size)], runs)[2] for size in sizes]
        cells = " | ".join(str(peak) for peak in peaks)
        print(f"| {kind} | {cells} | {100 * (peaks[-1] / peaks[0] - 1):.1f} % |", flush=True)


def devices(folder, runs, megabytes):
    print("| recording | few | s | many | s | times | at most |")
    print("|---|--:|--:|--:|--:|--:|--:|")
    for kind, few, many in [("socketcan", 10, 250), ("ethernet", 10, 4000)]:
        files = [made(folder, kind, megabytes, number) for number in (few, many)]
        times = [best([*REPORT, file], runs)[0] for file in files]
        print(
            f"| {kind} | {few} | {times[0]:.2f} | {many} | {times[1]:.2f} | {times[1] / times[0]:.2f} | 1.3 |",
            flush=True,
        )
    doublings(folder, runs, megabytes)


def doublings(folder, runs, megabytes):
    """From 10 devices on twice as many each time, by turns, so that a loud moment does not fall on one step alone."""
    print()
    print("| recording | devices | s | times the half |")
    print("|---|--:|--:|--:|")
    for kind, numbers in [("socketcan", [10, 20, 40, 80, 160, 250]), ("ethernet", [10 * 2**n for n in range(9)] + [4000])]:
        files = [made(folder, kind, megabytes, number) for number in numbers]
        times = [min(seconds) for seconds in zip(*[[run([*REPORT, file])[0] for file in files] for _ in range(runs)])]
        for at, (number, seconds) in enumerate(zip(numbers, times)):
            step = f"{seconds / times[at - 1]:.2f}" if at else ""
            print(f"| {kind} | {number} | {seconds:.2f} | {step} |", flush=True)


def many(folder, megabytes, count=100):
    """A hundred recordings in one call: are all processors busy, is the order kept, what does it take in memory?"""
    sources = [made(folder, kind, max(1, int(megabytes * share))) for kind, share, *_ in KINDS]
    files = []
    for number in range(count):
        path = os.path.join(folder, f"many-{megabytes}-{number}")
        if not os.path.lexists(path):
            os.symlink(sources[number % len(sources)], path)
        files.append(path)
    seconds, processor, peak, written = watched([*REPORT, "--each", *files], subprocess.PIPE)
    told = [json.loads(line)["recordings"][0]["path"] for line in written.splitlines()]
    order = "kept" if told == files else "**not kept**"
    largest = max(best([*REPORT, source], 1)[2] for source in sources)
    busy = processor / seconds
    print("| recordings | MB each | s | processors busy | order | KiB | KiB of the largest alone |")
    print("|--:|--:|--:|--:|---|--:|--:|")
    print(f"| {count} | {megabytes} | {seconds:.2f} | {busy:.2f} | {order} | {peak} | {largest} |", flush=True)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--megabytes", type=int, default=1000, help="size of the large files (default 1000)")
    parser.add_argument("--runs", type=int, default=5, help="runs of which the shortest counts (default 5)")
    parser.add_argument("--dir", default=os.path.join(tempfile.gettempdir(), "leadsman-bench"))
    parser.add_argument("--only", choices=["ratios", "memory", "devices", "many"])
    chosen = parser.parse_args()
    os.makedirs(chosen.dir, exist_ok=True)
    build = ["cargo", "build", "--release", "--quiet", "--bin", "leadsman", "--example", "big", "--example", "floor"]
    subprocess.run(build, cwd=ROOT, check=True)
    if chosen.only in (None, "ratios"):
        ratios(chosen.dir, chosen.megabytes, chosen.runs)
        print()
    if chosen.only in (None, "memory"):
        memory(chosen.dir, min(3, chosen.runs), (max(1, chosen.megabytes // 10), 2 * chosen.megabytes))
        print()
    if chosen.only in (None, "devices"):
        devices(chosen.dir, chosen.runs, max(1, chosen.megabytes // 4))
        print()
    if chosen.only in (None, "many"):
        many(chosen.dir, max(1, chosen.megabytes // 100))


if __name__ == "__main__":
    main()
