"""Advice before and after a plan: readiness, preparation, choice of protocol, money, heat, and what follows AI.

Each room is a module; `figures` holds the sources, `whys` every rule with its reason, `units` the person's units.

| room | modules |
|---|---|
| is she ready | `records`, `rules`, `heifers`, `cows`, `readiness`, `herd` (a group), `verdicts`, `gain` |
| before AI | `preparation` |
| which protocol | `comparison`, `chooser`, `results` (rates in print), `prices` |
| money | `money`, `sharing` |
| after AI | `moves` (bands), `after_ai`, `calving_forecast` |
| heat | `weather` (the door), `weather_file`, `heat_hours` |
"""
