"""From what was measured to medians, ratios and the one table."""

import json
from statistics import median

OURS, BARE = "Swardbook", "bare SQLite"
# A ratio may be so much smaller than the committed one: less is the noise of a shared disk.
TOLERANCE = 0.15


def medians(measured):
    """`{(what, callers, server): {figure: median}}` of the same with lists of measurements."""
    return {key: {name: median(one[name] for one in runs) for name in runs[0]} for key, runs in measured.items()}


def plain(value):
    if value >= 100:
        return f"{value:,.0f}"
    return f"{value:.1f}" if value >= 10 else f"{value:.2f}"


def cell(figures):
    if figures is None:
        return ""
    if "cpu_ms" not in figures:
        return plain(figures["rate"])
    text = f"{plain(figures['rate'])} ({plain(figures['cpu_ms'])} ms, p99 {plain(figures['p99_ms'])} ms"
    if figures["answer_kb"] and "written_kib" not in figures:
        text += f", {plain(figures['answer_kb'])} kB"
    if "written_kib" in figures:
        text += f", {plain(figures['written_kib'])} KiB"
    if figures["refused"]:
        text += f", {figures['refused']:.0f} refused"
    return text + ")"


def ratios(figures):
    """How many times as often as each other server ours answers, by the question and the callers."""
    found = {}
    for (what, callers, server), seen in sorted(figures.items()):
        ours = figures.get((what, callers, OURS))
        if server != OURS and ours and seen["rate"]:
            found[f"{what}, {callers}, {server}"] = round(ours["rate"] / seen["rate"], 2)
    return found


def table(figures, servers):
    others = [server for server in servers if server != OURS]
    found = ratios(figures)
    lines = ["| a second (server's CPU a request, 99th percentile, answer's bytes or bytes written) | " + " | ".join(servers) + " | times " + " / ".join(others) + " |"]
    lines.append("|---|" + "---|" * (len(servers) + 1))
    for what, callers in dict.fromkeys((what, callers) for what, callers, _ in figures):
        cells = [cell(figures.get((what, callers, server))) for server in servers]
        times = [found.get(f"{what}, {callers}, {server}") for server in others]
        told = " / ".join("-" if one is None else f"{one:.2f}" for one in times)
        lines.append(f"| {what}, {callers} caller{'s' if callers > 1 else ''} | " + " | ".join(cells) + f" | {told} |")
    return "\n".join(lines)


def keep(found, records, file):
    file.write_text(json.dumps({"records": records, "ratios": found}, indent=1) + "\n")


def regressions(found, records, kept):
    """What became smaller than it may, or is not measured any more."""
    if not kept.is_file():
        raise SystemExit(f"{kept} is not there: a run with --keep writes it.")
    before = json.loads(kept.read_text())
    if before["records"] != records:
        raise SystemExit(f"{kept} is of {before['records']:,} records; ratios of {records:,} are others.")
    told = []
    for name, ratio in before["ratios"].items():
        now = found.get(name)
        if now is None:
            told.append(f"{name}: {ratio:.2f} before, not measured now")
        elif now < ratio * (1 - TOLERANCE):
            told.append(f"{name}: {ratio:.2f} before, {now:.2f} now")
    return told
