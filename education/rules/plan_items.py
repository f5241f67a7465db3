"""What is there to do on a day of the plan, for the patient to tick?"""

from education.rules.eating_plan import PlanDay

SHAKE, MEAL, FLUID = "shake", "meal", "fluid"


def items_of(day: PlanDay) -> tuple[str, ...]:
    """Return the codes: "shake-1", "shake-2", ..., "meal", "fluid"; what the day does not ask for
    is not among them.
    """
    shakes = tuple(f"{SHAKE}-{n}" for n in range(1, day.amounts.supplements + 1))
    meal = (MEAL,) if day.meal else ()
    fluid = (FLUID,) if day.amounts.fluid_ml else ()
    return (*shakes, *meal, *fluid)
