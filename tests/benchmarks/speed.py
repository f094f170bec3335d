"""What one chart, one tuning start and one question cost, as one table of times and ratios.

    uv run python tests/benchmarks/speed.py

Each time is the best of several repeats on one core, after a warm-up. The NumPy lines are the same chain of
tapers and holes with the same wide-tube losses, vectorised over fingerings and frequencies; they take
constants for the holes' end corrections, which are cheaper than the fits, and get the derivative by
frequency from a second sweep, which is dearer than an analytic one. Values alone are told beside it.
"""

from __future__ import annotations

import math
import os
import subprocess
import sys
import time
from collections.abc import Callable

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from wrenpipe.model import kernel
from wrenpipe.model.air import dry_air
from wrenpipe.model.propagation import wide_tube
from wrenpipe.model.radiation import unflanged_impedance
from wrenpipe.model.speaking import chart_speaking
from wrenpipe.search.reach import free_optimum, greatest_margin
from wrenpipe.search.tuner import Goal, Programme
from wrenpipe.studies.question import Asked, read_question
from wrenpipe.studies.reaching import answer_question

SIZE, GLOVE = "A4", "9"


def best(action: Callable[[], object], repeats: int) -> float:
    """Least wall time of one call, s."""
    action()
    times = []
    for _ in range(repeats):
        began = time.perf_counter()
        action()
        times.append(time.perf_counter() - began)
    return min(times)


def numpy_sweep(omega, step, nodes, holes, is_open, air):
    """Y of every lane, and dY/domega by a second sweep, None for step 0; omega (m,), is_open (m, n_hole)."""
    both = np.concatenate([omega, omega + step]) if step else omega
    open_both = np.concatenate([is_open, is_open]) if step else is_open
    series, c, rho = wide_tube(air), air.c, air.rho
    k = both / c
    power = np.polynomial.polynomial.polyval
    foot = nodes.radius[-1]
    y = math.pi * foot**2 / (rho * c) / unflanged_impedance(k * foot)
    for n in range(len(nodes.x) - 2, -1, -1):
        length = nodes.x[n + 1] - nodes.x[n]
        r1, r2 = nodes.radius[n], nodes.radius[n + 1]
        if length > 0:
            tau = (r2 - r1) / length
            w = series.w0 / (0.5 * (r1 + r2) * np.sqrt(both))
            gamma = 1j * k * power(w, series.propagation)
            zeta = power(w, series.characteristic)
            eta = y * zeta * rho * c / (math.pi * r2**2) - tau / (r2 * gamma)
            t = np.tanh(gamma * length)
            y = ((eta + t) / (1 + eta * t) + tau / (r1 * gamma)) * math.pi * r1**2 / (zeta * rho * c)
        j = nodes.hole[n]
        if j >= 0:
            b, t_chimney, opened = holes[j, 0] / 2, holes[j, 1], open_both[:, j]
            w = series.w0 / (b * np.sqrt(both))
            zeta = power(w, series.characteristic)
            t = np.tanh(1j * k * power(w, series.propagation) * t_chimney)
            zr = 0.25 * (k * b) ** 2 + 1j * k * 0.6 * b
            z = np.where(opened, zeta * (zr + zeta * t) / (zeta + zr * t), zeta / t) + 0.6j * k * b
            ys = math.pi * b * b / (rho * c) / z
            h = -0.5j * both * rho * 0.3 * b**3 / (math.pi * r1**4)
            y = y / (1 + y * h) + ys
            y = y / (1 + y * h)
    if not step:
        return y, None
    half = len(omega)
    return y[:half], (y[half:] - y[:half]) / step


def kernel_lines(programme: Programme, v) -> list[tuple[str, str, str]]:
    solver = programme.solver
    p, _ = programme.mapping.parameters(v)
    nodes = solver.nodes(p)
    start, n_hole = solver.layout.hole_block("diameter").start, solver.is_open.shape[1]
    fields = kernel.HOLE_PARAMETERS
    holes = np.ascontiguousarray(p[start : start + fields * n_hole].reshape(fields, n_hole).T)
    omega = np.linspace(2000.0, 9000.0, 4096)
    out = np.empty(len(omega), dtype=complex)
    sweep = best(
        lambda: kernel.admittance(
            omega,
            nodes.x,
            nodes.radius,
            nodes.hole,
            holes,
            solver.is_open[5],
            solver.air,
            solver.table,
            False,
            out,
        ),
        20,
    ) / len(omega)
    segments = int((np.diff(nodes.x) > 0).sum())
    pair = sweep / (0.5 * (segments + n_hole))
    hz = solver.solve(p).hz
    chart = best(lambda: solver.solve(p, neighbours=False, guess_hz=hz * 1.001), 200)
    thorough = best(lambda: solver.solve(p), 50)
    derived = best(lambda: solver.solve(p, neighbours=False, guess_hz=hz * 1.001, jacobian=True), 100)
    lanes = np.repeat(2 * math.pi * hz, 16)
    opened = np.repeat(solver.is_open, 16, axis=0)
    air = dry_air()
    plain = best(lambda: numpy_sweep(lanes, 1e-3, nodes, holes, opened, air), 5) / len(lanes)
    notes = len(hz)
    chart_of = programme.mapping.space.system.chart
    instrument = programme.mapping.instrument(v)
    speaking = best(lambda: chart_speaking(instrument, chart_of, air, hz), 5)
    values = best(lambda: numpy_sweep(lanes, 0.0, nodes, holes, opened, air), 5) / len(lanes)
    return [
        ("hole and segment, with frequency derivative", f"{pair * 1e9:.0f} ns", "<= 40 ns"),
        (f"sweep of one note ({n_hole} holes, {segments} segments)", f"{sweep * 1e6:.2f} us", ""),
        ("the same in NumPy, over fingerings and frequencies", f"{plain * 1e6:.1f} us", ""),
        ("NumPy over kernel, both with the derivative", f"{plain / sweep:.0f} x", ">= 8 x"),
        ("NumPy without the derivative over kernel with it", f"{values / sweep:.0f} x", ""),
        (f"converged chart, {notes} notes, near guess", f"{chart * 1e3:.2f} ms", "<= 0.5 ms"),
        ("the same, maxima counted and neighbours looked for", f"{thorough * 1e3:.2f} ms", ""),
        ("chart with every derivative", f"{derived * 1e3:.2f} ms", ""),
        ("all derivatives over scoring", f"{derived / chart:.1f} x", "<= 2.5 x"),
        ("thresholds of every mode of the chart, three lips", f"{speaking * 1e3:.0f} ms", ""),
    ]


def search_lines() -> list[tuple[str, str, str]]:
    question = read_question(Asked(size=SIZE, glove=GLOVE))
    programme = question.programme()
    free = free_optimum(programme, question.tolerance)
    v = free.outcome.v
    rows = best(lambda: programme.fingers.at(v), 200)
    walls = best(lambda: programme.walls.at(v), 200)
    alone = programme.without_hand()
    start = best(lambda: alone.run(alone.guess, Goal()), 5)
    seated = best(lambda: programme.run(programme.guess, Goal()), 3)
    several = best(lambda: free_optimum(programme, question.tolerance), 3)
    verdict = best(
        lambda: greatest_margin(programme, free_optimum(programme, question.tolerance), question.tolerance),
        2,
    )
    whole = best(lambda: answer_question(question), 2)
    lines = kernel_lines(programme, v)
    lines += [
        ("finger rows with gradients", f"{rows * 1e3:.2f} ms", "<= 0.2 ms"),
        ("wall rows with gradients", f"{walls * 1e3:.2f} ms", ""),
        ("tuning start, no hand", f"{start:.3f} s", "< 0.1 s"),
        ("tuning start, seats included", f"{seated:.3f} s", "< 0.1 s"),
        ("multi-start", f"{several:.3f} s", "< 0.6 s"),
        (f"verdict and margin of {SIZE}, glove {GLOVE}, warm", f"{verdict:.2f} s", "< 1 s"),
        ("the same with the smallest reachable size", f"{whole:.2f} s", ""),
    ]
    return lines


def process_line() -> tuple[str, str, str]:
    command = [sys.executable, "-c", "from wrenpipe.studies.commands import main; raise SystemExit(main())"]
    command += ["reach", SIZE, "--glove", GLOVE, "--json"]
    took = best(lambda: subprocess.run(command, check=True, capture_output=True), 2)
    return (f"wrenpipe reach {SIZE} --glove {GLOVE}, second process", f"{took:.2f} s", "< 4 s")


def main() -> None:
    print("| what | measured | bar |\n|---|---|---|")
    for what, measured, bar in [*search_lines(), process_line()]:
        print(f"| {what} | {measured} | {bar} |", flush=True)


if __name__ == "__main__":
    main()
