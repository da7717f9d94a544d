"""Recovery of free SO2: how well the estimate finds the truth of made-up winters, and how much better one could do.

Two worlds. Plain: loss of first order, titrations of 1.5 mg/L. Hard: loss of first order and constant in any mixture
and dependent on temperature; a yield that drifts; titrations of 1.5 mg/L and 5 %; one in thirty a blunder, such as a
wrong factor; pH meters off by 0.05. In both, kegs, carboys and barrels lose what is usual for them within a factor of
1.8 (one standard deviation), titrations are two to five weeks apart, an addition comes when the limit is near.

The brute force has the prior and the likelihood of its world: very many wines are drawn and weighted by what was
written down (importance sampling), and it even knows the temperatures to come. Nobody can do better on average. It is
slow, so it answers a part of the winters, and the estimate is scored on these once more.

Goals: 80 % intervals of free SO2 and of the crossing day cover 75 to 85 %. The crossing day's median error, after three
titrations that follow an addition, is at most 0.3 (plain) or 0.5 (hard) of the days still to go. Errors, widths and
coverage within a tenth of the brute force. In 95 % of the answers "titrate by" is no later than the crossing, and not
more than twice as often as the brute force asks.

Some ten minutes; --winters, --brute-force, --wines.
"""

from __future__ import annotations

import argparse
import time

from so2_scores import Score, by_estimate, scores
from so2_winters import WORLDS, Answer, Asking, World, by_brute_force, made_up

GOAL_COVERED = (0.75, 0.85)
GOAL_CROSSING_ERROR = {"plain": 0.3, "hard": 0.5}
GOAL_IN_TIME = 0.95
GOAL_OFTEN = 2.0


def main() -> None:
    """Score both worlds and print what was found."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--winters", type=int, default=1000, help="winters of each world")
    parser.add_argument(
        "--brute-force", type=int, default=150, help="how many of them are also answered by brute force"
    )
    parser.add_argument("--wines", type=int, default=150_000, help="wines that the brute force draws for each winter")
    parser.add_argument(
        "--seed", type=int, default=10_000, help="of the first winter; the estimate was tuned on 0 to 499"
    )
    options = parser.parse_args()
    for world in WORLDS.values():
        score_world(world, options.winters, options.brute_force, options.wines, options.seed)


def score_world(world: World, count: int, brute_force: int, wines: int, seed: int) -> None:
    """Score one world."""
    begin = time.monotonic()
    winters = [made_up(world, seed + number) for number in range(count)]
    by_winter = by_estimate(winters)
    print(f"== {world.name}: {count} winters, {time.monotonic() - begin:.0f} s", flush=True)
    print_scores(scores(pair for pairs in by_winter for pair in pairs), GOAL_CROSSING_ERROR[world.name])
    if not brute_force:
        return
    best: list[tuple[Asking, Answer]] = []
    counts: list[float] = []
    begin = time.monotonic()
    for number, winter in enumerate(winters[:brute_force]):
        for answered in by_brute_force(winter, wines, seed + number):
            best.append((answered.asked, answered.answer))
            counts.append(answered.effective)
    counts.sort()
    print(
        f"-- brute force on {brute_force} of them, {time.monotonic() - begin:.0f} s; of {wines:,} wines at least "
        f"{counts[len(counts) // 100]:.0f} count in 99 % of the answers"
    )
    exact, same = scores(best), scores(pair for pairs in by_winter[:brute_force] for pair in pairs)
    print_scores(exact, None)
    print(f"-- the estimate on the same {brute_force}, and its ratio to the brute force")
    print_scores(same, None)
    print_ratios(same["all"], exact["all"])


def print_scores(found: dict[str, Score], goal: float | None) -> None:
    """Print a line for each kind of moment, and the goals."""
    print(
        f"{'asked':<26}{'n':>6} | {'covers':>7}{'error':>7}{'width':>7} | {'covers':>7}{'error':>7} | "
        f"{'in time':>7}{'wait':>6}"
    )
    for score in found.values():
        print(
            f"{score.what:<26}{score.n:>6} | {score.covered:>7.3f}{score.error:>7.2f}{score.width:>7.2f} | "
            f"{score.crossing_covered:>7.3f}{score.crossing_error:>7.3f} | {score.in_time:>7.3f}{score.wait:>6.0f}"
        )
    if goal is not None:
        print(
            f"goals: covers {GOAL_COVERED[0]} to {GOAL_COVERED[1]}; error of the crossing, third after an addition, "
            f"{goal}; in time {GOAL_IN_TIME}"
        )
    print("free SO2 [mg/L] | crossing day, error as a part of the days to go | titrate by, days to it", flush=True)


def print_ratios(ours: Score, exact: Score) -> None:
    """Print how the estimate compares with the brute force on the same winters."""
    print(
        f"error x {ours.error / exact.error:.3f}, width x {ours.width / exact.width:.3f}, coverage "
        f"{ours.covered - exact.covered:+.3f}; crossing: error x {ours.crossing_error / exact.crossing_error:.3f}, "
        f"coverage {ours.crossing_covered - exact.crossing_covered:+.3f}; titrations asked for x "
        f"{exact.wait / ours.wait:.2f} as often (goal {GOAL_OFTEN:g})\n",
        flush=True,
    )


if __name__ == "__main__":
    main()
