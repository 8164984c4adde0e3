"""Daily weather of New York and Seattle, 2012 to 2015, and the snow days that follow from it.

    npm pack vega-datasets@3.2.1
    python3 weather.py vega-datasets-3.2.1.tgz > weather.json

The package is under BSD-3-Clause; the figures are those of NOAA's Global Historical Climatology Network (public domain).
Kept are the days on which snow may have fallen: precipitation, and a mean of the day's two extremes of at most 34 degF.
New snow is melt water times the ratio of the NCDC table of new snowfall to estimated melt water. New York's is written
to a tenth of an inch and Seattle's to a whole millimetre, as observers write them. Needs nothing beside Python.
"""

import csv
import io
import json
import sys
import tarfile
from decimal import ROUND_HALF_UP, Decimal

# From this temperature up, degF, the ratio of snow to melt water: 34-28, 27-20, 19-15, 14-10, 9-0, -1--20, -21--40.
RATIOS = [(28, 10), (20, 15), (15, 20), (10, 30), (0, 40), (-20, 50), (-40, 100)]


def degrees_f(row):
    mean_c = (Decimal(row["temp_max"]) + Decimal(row["temp_min"])) / 2
    return (mean_c * 9 / 5 + 32).quantize(Decimal(1), ROUND_HALF_UP)


def new_snow_mm(row):
    at = degrees_f(row)
    return Decimal(row["precipitation"]) * next(ratio for least, ratio in RATIOS if at >= least)


def is_snow_day(city, millimetres):
    """A snow day has 25 mm or more: of what was written down, a whole inch, or 25 mm."""
    if city == "New York":
        return (millimetres / Decimal("25.4")).quantize(Decimal("0.1"), ROUND_HALF_UP) >= 1
    return millimetres.quantize(Decimal(1), ROUND_HALF_UP) >= 25


def main(package):
    with tarfile.open(package) as archive:
        text = archive.extractfile("package/data/weather.csv").read().decode()
    cities = {}
    for row in csv.DictReader(io.StringIO(text)):
        city = cities.setdefault(row["location"], {"days": [], "snow_days": {}})
        if Decimal(row["precipitation"]) > 0 and degrees_f(row) <= 34:
            year, month = int(row["date"][:4]), int(row["date"][5:7])
            winter = str(year if month >= 7 else year - 1)
            city["days"].append([row["date"], *(float(row[name]) for name in ("precipitation", "temp_max", "temp_min"))])
            if is_snow_day(row["location"], new_snow_mm(row)):
                city["snow_days"].setdefault(winter, []).append(row["date"])
    lines = [
        f'"{name}": {{\n"snow_days": {json.dumps(city["snow_days"])},\n"days": [\n'
        + ",\n".join(json.dumps(day) for day in city["days"])
        + "\n]}"
        for name, city in cities.items()
    ]
    print("{\n" + ",\n".join(lines) + "\n}")


main(sys.argv[1])
