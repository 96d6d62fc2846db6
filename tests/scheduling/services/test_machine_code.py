from scheduling.kernel.search.swift import machine
from scheduling.services import machine_code


def test_the_smallest_season_compiles_what_every_season_runs() -> None:
    machine_code.make_ready()
    assert machine_code.is_ready()
    assert len(vars(machine)["improve"].signatures) == 1
