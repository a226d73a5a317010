"""
Small weeks made by hand: each a problem with a valid plan, every figure written out.

Mixed mass is poured x 1.01 + 0.2 kg; of it 80 % is resin and 20 % hardener. Pouring runs at 2 kg a
minute, weighing takes 10 min, mixing 5, cleaning 5. People work 07:00 to 12:00 and 12:30 to 16:00;
somebody is in the shop until 18:00.
"""

from dataclasses import replace

from planning.core.plan import (
    Batch,
    Figures,
    Frozen,
    Lift,
    LotUse,
    Plan,
    Portion,
    Problem,
    Stand,
    Task,
)
from planning.core.problem import (
    Condition,
    Container,
    Layer,
    Lot,
    Mixer,
    Person,
    Place,
    Pour,
    Step,
    System,
)

DAY = 1440
SHIFTS = tuple(
    (day * DAY + start, day * DAY + end)
    for day in range(5)
    for start, end in ((420, 720), (750, 960))
)
STAFFED = tuple((day * DAY + 420, day * DAY + 1080) for day in range(5))

CLOCKS = Condition(
    from_min=0,
    pot_life_min=60,
    gel_limit_min=90,
    gap_least_min=120,
    gap_greatest_min=600,
    attend_min=120,
    cure_min=1440,
)
SYSTEM = System(
    id="S",
    resin="resin",
    hardener="hardener",
    hardener_per_100=25,
    conditions=(CLOCKS,),
    deepest_lift_mm=60,
    weigh_min=10,
    mix_min=5,
    clean_min=5,
    pour_rate_kg_min=2,
    move_min=2,
    vessel_kg=40,
    least_batch_kg=1,
    residue_fixed_kg=0.2,
    residue_share=0.01,
    abrade_min=30,
    skill="cast",
)
COAT = Step("coat", "Release coat", hands_min=20, wait_min=60, longest_wait_min=600)
STRIP = Step("strip", "Strip barriers", hands_min=30)
RESIN = Lot("R", "resin", (Container("R1", 60, usable_until_min=9000),))
HARDENER = Lot("H", "hardener", (Container("H1", 20, usable_until_min=9000),))


def pour(id="P", layers=((20, 5), (20, 5)), **changes):
    """Return a pour with a coat before and a strip after, layers as (mm, kg)."""
    values = {"before": (COAT,), "after": (STRIP,), "due_min": 5000} | changes
    return Pour(
        id=id,
        system="S",
        layers=tuple(Layer(mm, kg) for mm, kg in layers),
        place_kind="bench",
        **values,
    )


def problem(*pours, **changes):
    """Return a shop of two casters, two mixers, two benches and an oven."""
    values = {
        "horizon_min": 5 * DAY,
        "people": (Person("ann", SHIFTS, ("cast",)), Person("bob", SHIFTS, ("cast",))),
        "mixers": (Mixer("M1", largest_kg=30), Mixer("M2", largest_kg=30)),
        "places": (Place("bench1", "bench"), Place("bench2", "bench"), Place("oven1", "oven", 2)),
        "systems": (SYSTEM,),
        "lots": (RESIN, HARDENER),
        "staffed": STAFFED,
        "day_starts": tuple(day * DAY for day in range(5)),
    } | changes
    return Problem(origin="2026-11-23T00:00:00+01:00", pours=pours, **values)


def uses(resin_kg, hardener_kg, resin="R1", hardener="H1"):
    return (LotUse("R", resin, "resin", resin_kg), LotUse("H", hardener, "hardener", hardener_kg))


def task(pour, kind, step, start, end, person="ann", **more):
    return Task(pour, kind, step, (person,) if person else (), start, end, **more)


def figures(pots, residue_kg, finish_min, lateness=0, unplaced=0):
    return Figures(unplaced, lateness, pots, residue_kg, finish_min)


def batch(id, times, mixed_kg, portions, lots, mixer="M1", person="ann"):
    """Return a batch from its five times: start, contact, pour start, pour end, end."""
    return Batch(id, "S", mixer, (person,), *times, mixed_kg, portions, lots)


def single():
    """One pour of one lift from one pot."""
    plan = Plan(
        lifts=(Lift("P", 0, 0, 2, 40, 10),),
        batches=(
            batch(
                "B1",
                (485, 495, 500, 505, 510),
                10.3,
                (Portion("P", 0, 10, 500, 505),),
                uses(8.24, 2.06),
            ),
        ),
        tasks=(task("P", "before", "coat", 420, 440), task("P", "after", "strip", 1950, 1980)),
        stands=(Stand("P", "bench1", 420, 1980),),
        figures=figures(1, 0.3, 1980),
    )
    return problem(pour()), plan


def matched():
    """Half B is cast on half A, which keeps the bench until then."""
    upper = pour("B", stands_on="A", same_place=True)
    plan = Plan(
        lifts=(Lift("A", 0, 0, 2, 40, 10), Lift("B", 0, 0, 2, 40, 10)),
        batches=(
            batch(
                "B1",
                (485, 495, 500, 505, 510),
                10.3,
                (Portion("A", 0, 10, 500, 505),),
                uses(8.24, 2.06),
            ),
            batch(
                "B2",
                (3365, 3375, 3380, 3385, 3390),
                10.3,
                (Portion("B", 0, 10, 3380, 3385),),
                uses(8.24, 2.06),
            ),
        ),
        tasks=(
            task("A", "before", "coat", 420, 440),
            task("A", "after", "strip", 1950, 1980),
            task("B", "before", "coat", 3300, 3320, "bob"),
            task("B", "after", "strip", 4830, 4860),
        ),
        stands=(Stand("A", "bench1", 420, 3300), Stand("B", "bench1", 3300, 4860)),
        figures=figures(2, 0.6, 4860),
    )
    return problem(pour("A"), upper), plan


def shared():
    """Two pours from one pot, the second two minutes of moving later and late by 40 min."""
    plan = Plan(
        lifts=(Lift("P", 0, 0, 2, 40, 10), Lift("Q", 0, 0, 1, 30, 7)),
        batches=(
            batch(
                "B1",
                (485, 495, 500, 511, 516),
                17.37,
                (Portion("P", 0, 10, 500, 505), Portion("Q", 0, 7, 507, 511)),
                uses(13.896, 3.474),
            ),
        ),
        tasks=(
            task("P", "before", "coat", 420, 440),
            task("Q", "before", "coat", 420, 440, "bob"),
            task("P", "after", "strip", 1950, 1980),
            task("Q", "after", "strip", 1980, 2010),
        ),
        stands=(Stand("P", "bench1", 420, 1980), Stand("Q", "bench2", 420, 2010)),
        figures=figures(1, 0.37, 2010, lateness=80),
    )
    return problem(pour(), pour("Q", ((30, 7),), due_min=1970, weight=2)), plan


def three_lifts():
    """The second lift inside the recoat window, the third next day after abrading."""
    layers = tuple((40, 10) for _ in range(3))
    plan = Plan(
        lifts=tuple(Lift("P", n, n, n + 1, 40, 10) for n in range(3)),
        batches=(
            batch(
                "B1",
                (485, 495, 500, 505, 510),
                10.3,
                (Portion("P", 0, 10, 500, 505),),
                uses(8.24, 2.06),
            ),
            batch(
                "B2",
                (790, 800, 805, 810, 815),
                10.3,
                (Portion("P", 1, 10, 805, 810),),
                uses(8.24, 2.06),
            ),
            batch(
                "B3",
                (1900, 1910, 1915, 1920, 1925),
                10.3,
                (Portion("P", 2, 10, 1915, 1920),),
                uses(8.24, 2.06),
            ),
        ),
        tasks=(
            task("P", "before", "coat", 420, 440),
            task("P", "abrade", "", 1865, 1895, "bob", lift=2),
            task("P", "after", "strip", 3360, 3390),
        ),
        stands=(Stand("P", "bench1", 420, 3390),),
        figures=figures(3, 0.9, 3390),
    )
    return problem(pour(layers=layers)), plan


def wet_on_wet():
    """One lift of 40 kg from two pots, the second in 31 min after contact of the first."""
    portions = (Portion("P", 0, 28, 500, 514), Portion("P", 0, 12, 520, 526))
    plan = Plan(
        lifts=(Lift("P", 0, 0, 1, 50, 40),),
        batches=(
            batch("B1", (485, 495, 500, 514, 519), 28.48, portions[:1], uses(22.784, 5.696)),
            batch(
                "B2",
                (505, 515, 520, 526, 531),
                12.32,
                portions[1:],
                uses(9.856, 2.464),
                mixer="M2",
                person="bob",
            ),
        ),
        tasks=(task("P", "before", "coat", 420, 440), task("P", "after", "strip", 1970, 2000)),
        stands=(Stand("P", "bench1", 420, 2000),),
        figures=figures(2, 0.8, 2000),
    )
    return problem(pour(layers=((50, 40),))), plan


def ovens():
    """Two castings, put into one oven by one person, share the load that starts then."""
    bake = Step("bake", "Post-cure", hands_min=10, wait_min=480, oven_cycle="60 C 8 h")
    load, plan = shared()
    tasks = (
        *plan.tasks,
        task("P", "after", "bake", 2020, 2030, oven="oven1", oven_start_min=2040),
        task("Q", "after", "bake", 2030, 2040, oven="oven1"),
    )
    stands = (Stand("P", "bench1", 420, 2520), Stand("Q", "bench2", 420, 2520))
    pours = tuple(replace(p, after=(*p.after, bake), due_min=2500) for p in load.pours)
    plan = replace(plan, tasks=tasks, stands=stands, figures=figures(1, 0.37, 2520, lateness=60))
    return replace(load, pours=pours), plan


def frozen():
    """The pour of `single` was begun yesterday evening outside every shift; it stays as it was."""
    load, plan = single()
    begun = batch("B0", (-100, -90, -80, -60, -50), 11.5, (Portion("P", 0, 10, -80, -60),), ())
    lift, stand = plan.lifts[0], Stand("P", "bench1", -200, 1500)
    strip = task("P", "after", "strip", 1860, 1890)
    load = replace(
        load,
        pours=(replace(load.pours[0], before=()),),
        frozen=Frozen(lifts=(lift,), batches=(begun,), stands=(stand,)),
    )
    plan = Plan(
        lifts=(lift,),
        batches=(begun,),
        tasks=(strip,),
        stands=(replace(stand, end_min=1890),),
        figures=figures(1, 1.5, 1890),
    )
    return load, plan


def receipt():
    """The resin for the pour of `single` comes in on the morning itself."""
    load, plan = single()
    due = Lot("R", "resin", (Container("R1", 9, usable_until_min=9000, available_from_min=480),))
    return replace(load, lots=(due, HARDENER)), plan


def open_life():
    """The resin of `matched` is opened for half A and keeps just long enough for half B."""
    load, plan = matched()
    sealed = Container("R1", 60, usable_until_min=9000, open_life_min=2900)
    return replace(load, lots=(Lot("R", "resin", (sealed,)), HARDENER)), plan


WEEKS = {
    "one pour of one lift": single,
    "half B on half A": matched,
    "two pours from one pot": shared,
    "three lifts, the last after abrading": three_lifts,
    "one lift from two pots": wet_on_wet,
    "two castings in one oven load": ovens,
    "work begun before the week": frozen,
    "resin comes in on the day": receipt,
    "resin opened for the first half": open_life,
}
