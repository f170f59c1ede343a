"""What the job is held against: two bare scans of the same files, and the same sums in SQL and in pandas.

Each is a function of the folder that routes.lay wrote and a folder to write to. Those that reckon write stock.parquet
(machine, label, closed, figure: units vended) and cash.parquet (machine, closed, figure: cents expected), one row a
closed window, `closed` in microseconds since 1970.
"""

from pathlib import Path
from string import Template

_DROPPED = ["vended", "refunded"]


def scan(root: Path, out: Path) -> None:
    """The least that anyone could do: the columns of the logs with their types, and onto the disk."""
    import polars as pl

    types = {"machine": pl.String, "time": pl.Datetime("us"), "bus": pl.Int32, "price": pl.Float64}
    types |= dict.fromkeys(("tender", "outcome", "reference"), pl.String)
    pl.scan_csv(root / "route/inbox/sales-*.csv", schema=types).sink_parquet(out / "vends.parquet")


def text(root: Path, out: Path) -> None:
    """The same rows of the same types, faster: every cell is read as text, and then cast.

    Of the ways tried in polars 2.1 this took the least among those that give the same table: a typed scan takes twice
    the processor's time, nearly all of it in reading times; to cut the digits of a time apart, or to go by an eager
    frame, takes longer.
    """
    import polars as pl

    names = ("machine", "time", "bus", "price", "tender", "outcome", "reference")
    cells = pl.scan_csv(root / "route/inbox/sales-*.csv", schema=dict.fromkeys(names, pl.String))
    time = pl.col("time").str.to_datetime("%Y-%m-%dT%H:%M:%S", time_unit="us")
    rows = cells.with_columns(time, pl.col("bus").cast(pl.Int32), pl.col("price").cast(pl.Float64))
    rows.sink_parquet(out / "vends.parquet")


def duckdb(root: Path, out: Path) -> None:
    """The script job.sql, in a database in memory."""
    import duckdb as engine

    script = Template(Path(__file__).with_name("job.sql").read_text(encoding="utf-8"))
    with engine.connect() as base:
        base.execute("SET TimeZone = 'UTC'")
        inbox = (root / "route/inbox").as_posix()
        base.execute(script.substitute(ROOT=root.as_posix(), INBOX=inbox, OUT=out.as_posix()))


def pandas(root: Path, out: Path) -> None:
    """The same with pandas, as one would write it."""
    import pandas as pd
    import polars as pl

    slots = pd.read_csv(root / "slots.csv", dtype={"label": str})
    zones = slots[["machine", "zone"]].drop_duplicates()
    vends = _read(root, "sales", {"bus": "int32", "reference": str}).drop_duplicates(["machine", "reference"])
    vends = _to_utc(vends, zones)
    vends = vends.merge(slots.rename(columns={"price": "asked"}), how="left", on=["machine", "bus"])
    vends["cents"] = (vends["price"] * 100).round().fillna(vends["asked"]).astype("int64")
    vends = vends.sort_values("time")
    counts = _windows(_to_utc(_read(root, "counts", {"label": str}), zones), ["machine", "label"])
    boxes = _windows(_to_utc(_read(root, "cash", {}), zones), ["machine"])
    dropped = vends[vends["outcome"].isin(_DROPPED) & vends["label"].notna()].assign(figure=1)
    paid = vends[(vends["tender"] == "cash") & (vends["outcome"] == "vended")].assign(figure=lambda rows: rows["cents"])
    for name, events, marks, key in (
        ("stock", dropped, counts, ["machine", "label"]),
        ("cash", paid, boxes, ["machine"]),
    ):
        joined = pd.merge_asof(events[[*key, "time", "figure"]], marks, left_on="time", right_on="opened", by=key)
        sums = joined.groupby([*key, "opened"], as_index=False)["figure"].sum()
        ended = marks[marks["closed"].notna()].merge(sums, how="left", on=[*key, "opened"])
        figure = ended["figure"].fillna(0).astype("int64").to_numpy()
        closed = ended["closed"].dt.tz_localize(None).astype("datetime64[us]").astype("int64").to_numpy()
        keys = {column: ended[column].to_list() for column in key}
        pl.DataFrame(keys | {"closed": closed, "figure": figure}).write_parquet(out / f"{name}.parquet")


def _read(root, kind, types):  # type: ignore[no-untyped-def]
    import pandas as pd

    files = sorted((root / "route/inbox").glob(f"{kind}-*.csv"))
    return pd.concat([pd.read_csv(path, dtype=types, parse_dates=["time"]) for path in files], ignore_index=True)


def _to_utc(rows, zones):  # type: ignore[no-untyped-def]
    import pandas as pd

    rows = rows.merge(zones, on="machine")
    parts = [part.assign(time=part["time"].dt.tz_localize(zone).dt.tz_convert("UTC")) for zone, part in
             rows.groupby("zone", sort=False)]  # fmt: skip
    return pd.concat(parts).drop(columns="zone")


def _windows(marks, key):  # type: ignore[no-untyped-def]
    marks = marks[[*key, "time"]].rename(columns={"time": "opened"}).sort_values("opened")
    return marks.assign(closed=marks.groupby(key)["opened"].shift(-1))
