"""What a person with pandas would do: read the record files, keep the newest version of each row, and make five tables.

Usage: python3 byhand.py RECORDS OUT. No row is judged by the contract's rules, as nobody writes these by hand.
"""
import glob
import os
import sys

import pandas as pd


def read(folder, name):
    paths = sorted(glob.glob(os.path.join(folder, name + "*.csv")))
    return pd.concat([pd.read_csv(p) for p in paths], ignore_index=True)


def main(folder, out):
    os.makedirs(out, exist_ok=True)
    regions, materials = read(folder, "regions"), read(folder, "materials")
    visits = read(folder, "inspections").drop_duplicates("inspection_id", keep="last").merge(regions, on="region")
    readings = read(folder, "readings").drop_duplicates("reading_id", keep="last")
    findings = read(folder, "findings").drop_duplicates("finding_id", keep="last")
    for frame, column in ((visits, "started_at"), (readings, "taken_at"), (findings, "found_on")):
        frame[column] = pd.to_datetime(frame[column], utc=True)
    readings = readings[(readings.level_pct >= 0) & (readings.level_pct <= 100)]

    # The last reading of a point that is not unsure decides its call.
    decided = readings[readings.call != "unsure"].sort_values(["inspection_id", "point_id", "taken_at"])
    points = decided.drop_duplicates(["inspection_id", "point_id"], keep="last")
    points = points.merge(visits, on="inspection_id").merge(materials, on="material")
    points["month"] = points.started_at.dt.strftime("%Y-%m")

    # A finding within 60 days tells the truth.
    found = points[["inspection_id", "site_id", "point_id", "started_at"]].merge(
        findings[["site_id", "point_id", "found_on", "result"]], on=["site_id", "point_id"])
    days = (found.found_on - found.started_at.dt.floor("D")).dt.days
    found = found[(days >= 0) & (days <= 60)]
    truth = found.assign(active=found.result == "active").groupby(["inspection_id", "point_id"]).active.max().rename("truth")
    points = points.merge(truth.reset_index(), on=["inspection_id", "point_id"], how="left")

    points["called"], points["checked"] = points.call == "active", points.truth.notna()
    points["right"] = points.called & (points.truth == True)  # noqa: E712
    points["opened"] = points.called & points.checked
    for name, by in (("material", ["material"]), ("gain", ["material", "gain"]), ("season", ["region", "month"]),
                     ("technician", ["technician_id"]), ("unit", ["unit_id"])):
        table = points.groupby(by).agg(points=("called", "size"), active=("called", "sum"), opened=("opened", "sum"), right=("right", "sum"))
        table["rate"], table["held"] = table.active / table.points, table.right / table.opened
        table.to_csv(os.path.join(out, name + ".csv"))


if __name__ == "__main__":
    main(*sys.argv[1:])
