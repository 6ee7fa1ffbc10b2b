"""Where processor time and bytes go for one record: samples of the program's stacks, each counted where its innermost known frame
belongs, and the pages of the file and of its write-ahead log, each counted where its tree belongs."""

import collections
import contextlib
import re
import signal
import sqlite3
import struct
import subprocess
import time

# The first pattern that a frame fits says what it is about; frames are looked at from the innermost outwards, so that what all use
# (memory, numbers, strings) counts for whoever called it. Kernel frames have their own names.
PARTS = (
    ("write and sync the file", r"^(ksys_|__x64_sys_|do_)?(pwrite|fsync|fdatasync|ftruncate)|^vfs_(write|fsync)|^ext4_|jbd2"),
    ("wait for and wake threads", r"futex|eventfd|epoll|schedule|^tokio::runtime|^std::sys::.*park|parking_lot|^crossbeam|^flume"),
    ("read and answer on the socket", r"tcp_|sock_|^inet_|^(ksys_|__x64_sys_|do_)?(read|write|send|recv|accept)|^tokio::net|^mio"),
    ("HTTP", r"^(<)?&?(mut )?(hyper|httparse|http|axum|tower|tower_http|matchit|h2)(_\w+)?::"),
    ("hash", r"sha2|sha256|hmac|digest::"),
    ("pack", r"^(ZSTD|HUF|FSE|HIST|ZDICT|COVER)_|zstd|server::store::packing"),
    ("SQL", r"^sqlite3|sqlx|^(vdbe|btree|pager|wal|balance|cellSize|parseCell|getCell|insertCell|allocateSpace|freeSpace|json|jsonb|whereLoop|exprCode|moveToChild|moveToRoot|pcache|unix)"),
    ("validate", r"server::schema|server::field_fault|jsonschema|regex_automata|regex::"),
    ("decide", r"\bdomain::|swardbook_domain::|server::acts|server::book"),
    ("read and write JSON", r"serde_json|serde::|serde_core::|ryu|itoa"),
    ("store", r"server::store"),
    ("our own answer and access", r"server::"),
)
ELSEWHERE = "elsewhere"
PAGE = 4096


def stacks(seconds, load, question, server, folder):
    """Samples the server while it stores records; answers stacks, innermost frame first, and what was asked meanwhile."""
    data = folder / "perf.data"
    command = ["perf", "record", "-q", "-F", "499", "-e", "cpu-clock", "--call-graph", "fp", "-p", str(server.process.pid), "-o", str(data)]
    recorder = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    time.sleep(1)
    seen = server.measure(load, question, 64, seconds)
    recorder.send_signal(signal.SIGINT)
    _, told = recorder.communicate(timeout=60)
    if not data.is_file():
        raise SystemExit(f"perf recorded nothing: {told.decode(errors='replace')}")
    script = ["perf", "script", "-i", str(data), "-F", "ip,sym"]
    text = subprocess.run(script, capture_output=True, text=True, check=True, errors="replace").stdout
    data.unlink()
    blocks = ([line.strip().partition(" ")[2] for line in block.splitlines()] for block in text.split("\n\n"))
    return [frames for frames in ([frame for frame in block if frame] for block in blocks) if frames], seen


def part(stack):
    for frame in stack:
        for name, pattern in PARTS:
            if re.search(pattern, frame):
                return name
    return ELSEWHERE


def trees(book):
    """Bytes that each table and index takes, and whose each page is."""
    with contextlib.closing(sqlite3.connect(f"file:{book}?mode=ro", uri=True)) as db:
        pages = dict(db.execute("SELECT pageno, name FROM dbstat"))
    return collections.Counter(pages.values()), pages


def logged(wal):
    """The numbers of the pages in a write-ahead log, each as often as it was written since the log began anew."""
    content = wal.read_bytes()
    salt = content[16:24]
    numbers = []
    for at in range(32, len(content) - PAGE, PAGE + 24):
        if content[at + 8 : at + 16] != salt:
            break
        numbers.append(struct.unpack(">I", content[at : at + 4])[0])
    return numbers


def told(found, seen, kept, written, records):
    """The two tables, as text."""
    counted = collections.Counter(part(stack) for stack in found)
    total = sum(counted.values())
    lines = [
        f"One record at 64 callers: {seen['cpu_ms']:.2f} ms of the server's processors, in {total:,} samples, and {seen['written_kib']:.0f} KiB written.",
        "", "| where processor time goes | share | a record |", "|---|---|---|",
    ]
    for name, count in sorted(counted.items(), key=lambda one: (one[0] == ELSEWHERE, -one[1])):
        lines.append(f"| {name} | {100 * count / total:.1f} % | {1000 * seen['cpu_ms'] * count / total:.0f} µs |")
    lines += ["", "| table or index | kept of a record | written for a record |", "|---|---|---|"]
    log = collections.Counter(written)
    every = sum(log.values()) or 1
    for name, count in kept.most_common():
        bytes_each = count * PAGE / records
        each = seen["written_kib"] * log.get(name, 0) / every
        if bytes_each >= 10 or each >= 1:
            lines.append(f"| {name} | {bytes_each:,.0f} bytes | {each:.1f} KiB |")
    return "\n".join(lines)
