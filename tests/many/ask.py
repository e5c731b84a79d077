"""Asks a folder of Leadsman's tables a few questions and prints the answers as JSON: ask.py DIR."""

import json
import sys

import duckdb

folder = sys.argv[1]


def ask(question):
    tables = {name: f"read_parquet('{folder}/{name}/*.parquet')" for name in ("devices", "sources", "timing", "findings")}
    return duckdb.sql(question.format(**tables)).fetchall()


two_headings = ask(
    "select count(*) from (select recording from {sources} where quantity = 'heading' and valid > 0"
    " group by recording having count(distinct device) >= 2)"
)
faults = ask("select count(*) from {findings} where severity = 'fault'")
p99 = ask(
    "with bins as (select d.software, unnest(t.histogram) as bin from {timing} t"
    " join {devices} d on d.recording = t.recording and d.device = t.device"
    " where t.message = '128267' and d.software is not null),"
    " sums as (select software, bin.to_s as to_s, bin.count as n,"
    "   sum(bin.count) over (partition by software order by bin.to_s) as below,"
    "   sum(bin.count) over (partition by software) as all_of_them from bins)"
    " select software, min(to_s) from sums where below >= 0.99 * all_of_them group by software"
)
print(
    json.dumps(
        {
            "boats_with_two_heading_sources": two_headings[0][0],
            "faults": faults[0][0],
            "depth_interval_p99_s_by_software": dict(p99),
        }
    )
)
