"""How fast the orders are, against an FFT pass, a scipy recipe and a rotational-order package.

    python benchmarks/vibration.py [--minutes 60] [--write]

Three axes at 4 kHz, 24 half orders (0.5 to 12), speed swinging between 1200 and 1800 rpm; one
core. ``--write`` puts the table into ``vibration.md``. Times mean little by themselves; the ratios
within one run are what is claimed. What is slower is run on a part of the same samples and scaled
to the same length (stated in the table).
"""

from __future__ import annotations

import argparse
import platform
import time
from pathlib import Path
from statistics import median

import numpy as np
import rota
from scipy import fft
from scipy.interpolate import CubicSpline
from threadpoolctl import threadpool_info, threadpool_limits

from witnessmark.physics.vibration.orders.order_blocks import block_orders
from witnessmark.physics.vibration.orders.order_tracking import turns

RATE = 4000.0
ORDERS = np.arange(1, 25) / 2.0


def material(seconds):
    """A long recording with every half order at a known amplitude, 0.01 to 0.24."""
    n = int(seconds * RATE)
    bus = np.arange(0, seconds + 0.1, 0.02)
    rpm = 1500 + 300 * np.sin(2 * np.pi * bus / 60)
    t = np.arange(n) / RATE
    rng = np.random.default_rng(1)
    x = 0.1 * rng.standard_normal((3, n))
    step = 400_000
    for i in range(0, n, step):
        engine = turns(t[i : i + step], bus, rpm)
        for k, order in enumerate(ORDERS, start=1):
            x[:, i : i + step] += 0.01 * k * np.cos(2 * np.pi * order * engine)
    return x, t, bus, rpm


def ours(x, bus, rpm):
    return block_orders(x, RATE, bus, rpm, ORDERS, window=2.0)


def fft_pass(x):
    """One real FFT of every sample, in blocks of the same 2 s; nothing else."""
    for axis in x:
        fft.rfft(axis[: len(axis) // 8000 * 8000].reshape(-1, 8000), axis=1)


def recipe(x, t, bus, rpm):
    """The usual recipe: cubic resampling in angle at 64 a turn, then FFTs of 32 turns."""
    engine = turns(t, bus, rpm)
    grid = np.arange(0, engine[-1], 1 / 64)
    out = []
    for axis in x:
        even = CubicSpline(engine, axis)(grid)
        blocks = even[: len(even) // 2048 * 2048].reshape(-1, 2048)
        out.append(np.abs(fft.rfft(blocks, axis=1)[:, 16:400:16]) / 1024)
    return out


def package(x, t, bus, rpm):
    """rota-order 0.3.0, tracked_harmonics at the same 24 orders, windows of 32 turns."""
    speed = np.interp(t, bus, rpm)
    return rota.extract.tracked_harmonics(
        np.ascontiguousarray(x.T), RATE, speed, ORDERS, window_revs=32.0, overlap=0.5
    )


def package_map(x, t, bus, rpm):
    """rota-order 0.3.0, rpm_order_map with bins of half an order up to 12, no overlap."""
    speed = np.interp(t, bus, rpm)
    return rota.maps.rpm_order_map(
        np.ascontiguousarray(x.T), RATE, speed, order_resolution=0.5, max_order=12.0, overlap=0.0
    )


def timed(call, repeats):
    times = []
    for _ in range(repeats):
        start = time.process_time()
        result = call()
        times.append(time.process_time() - start)
    return median(times), result


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--write", action="store_true")
    args = parser.parse_args()
    with threadpool_limits(1):
        measure(args)


def measure(args):
    seconds = 60 * args.minutes
    x, t, bus, rpm = material(seconds)
    whole, windows = timed(lambda: ours(x, bus, rpm), args.repeats)
    passed, _ = timed(lambda: fft_pass(x), args.repeats)
    part = min(seconds, 120.0)
    n = int(part * RATE)
    short, when = np.ascontiguousarray(x[:, :n]), t[:n]
    scale = seconds / part
    spline, spectra = timed(lambda: recipe(short, when, bus, rpm), 1)
    table, _ = timed(lambda: package_map(short, when, bus, rpm), 1)
    small = min(seconds, 20.0)
    few = int(small * RATE)
    tracked, _ = timed(lambda: package(x[:, :few], t[:few], bus, rpm), 1)
    rows = [
        ("ours: 24 orders, exact normal equations, floors, complex amplitudes", whole, seconds),
        ("one FFT pass over the same samples (2 s blocks)", passed, seconds),
        ("scipy recipe: CubicSpline in angle, FFT (bins 1/32 order)", spline * scale, part),
        ("rota-order rpm_order_map (bins 1/2 order)", table * scale, part),
        ("rota-order tracked_harmonics (the same 24 orders)", tracked * seconds / small, small),
    ]
    amplitude = np.abs(windows.amplitude).mean(axis=(0, 2))
    error = float(np.max(np.abs(amplitude / (0.01 * np.arange(1, 25)) - 1)))
    spline_error = float(
        np.max(np.abs(np.mean(spectra, axis=(0, 1)) / (0.01 * np.arange(1, 25)) - 1))
    )
    threads = max((pool["num_threads"] for pool in threadpool_info()), default=1)
    lines = [
        "| what | processor s | of which run | x real time | time of it / ours |",
        "|---|---|---|---|---|",
    ]
    for name, cost, run in rows:
        lines.append(
            f"| {name} | {cost:.2f} | {run:.0f} s | {seconds / cost:.0f} | {cost / whole:.2f} |"
        )
    lines += [
        "",
        f"Ours takes {whole / passed:.2f} times one FFT pass. Largest error of the 24 mean "
        f"amplitudes: ours {100 * error:.2f} %, scipy recipe {100 * spline_error:.2f} %.",
        f"{args.minutes:g} minutes, 3 axes, 4 kHz, one core ({platform.machine()}), numpy "
        f"{np.__version__}; processor time, median of {args.repeats}; most threads of "
        f"any linear algebra library: {threads}.",
        "",
        "| length | axes | ours, processor s | FFT pass, s | ours / FFT |",
        "|---|---|---|---|---|",
    ]
    for minutes in (5, 10, args.minutes):
        for axes in (1, 3):
            part = np.ascontiguousarray(x[:axes, : int(60 * minutes * RATE)])
            mine = min(timed(lambda p=part: ours(p, bus, rpm), args.repeats)[0] for _ in range(3))
            other = min(timed(lambda p=part: fft_pass(p), args.repeats)[0] for _ in range(3))
            lines.append(
                f"| {minutes:g} min | {axes} | {mine:.3f} | {other:.3f} | {mine / other:.2f} |"
            )
    lines.append(
        "\nMost of the work on one axis (turning every sample's place into an angle, the normal "
        "equations) is shared by further axes."
    )
    text = "\n".join(lines)
    print(text)
    if args.write:
        page = Path(__file__).with_suffix(".md")
        head = "# Speed of the orders\n\n" + (__doc__ or "").split("\n\n", 2)[2].strip() + "\n\n"
        page.write_text(head + text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
