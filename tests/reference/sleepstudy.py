"""Reaction times of 18 people on ten days without sleep: a published example of the mixed model.

    pip download --no-deps pymer4==0.9.2
    python3 sleepstudy.py pymer4-0.9.2-py3-none-any.whl > sleepstudy.json

The package is under the MIT licence; the figures are those of Belenky et al. (2003), Patterns of performance degradation
and restoration during sleep restriction and subsequent recovery, Journal of Sleep Research 12, 1-12, fitted in Bates,
Maechler, Bolker & Walker (2015), Fitting Linear Mixed-Effects Models Using lme4, Journal of Statistical Software 67(1).
Values are means in ms, of days 0 to 9 in order. Needs nothing beside Python.
"""

import csv
import io
import json
import sys
import zipfile


def main(package):
    with zipfile.ZipFile(package) as archive:
        text = archive.read("pymer4/resources/sleep.csv").decode()
    subjects = {}
    for row in csv.DictReader(io.StringIO(text)):
        values = subjects.setdefault(row["Subject"], [])
        assert int(row["Days"]) == len(values)
        values.append(float(row["Reaction"]))
    lines = [f'"{name}": {json.dumps(values)}' for name, values in subjects.items()]
    print('{"subjects": {\n' + ",\n".join(lines) + "\n}}")


main(sys.argv[1])
