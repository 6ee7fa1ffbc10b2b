"""The same company as a plain server keeps it: one file that both peers begin with, and how they are installed."""

import hashlib
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import uuid
from pathlib import Path

import company

HERE = Path(__file__).resolve().parent.parent / "peers"
CAP = 3_500_000  # millionths of a pound of nitrogen on 1,000 square feet and year
DAY_0 = 1_577_836_800_000


def fill(state, file):
    """Writes the book of the plain server straight into its file, with the ids and texts that our own has over HTTP."""
    file.unlink(missing_ok=True)
    db = sqlite3.connect(file, isolation_level=None)
    # As large as the write-ahead log of a running server never is; the file is whole before anybody opens it.
    db.executescript("PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; PRAGMA cache_size = -400000;")
    db.executescript((HERE / "schema.sql").read_text())
    db.execute("BEGIN")
    owner = str(uuid.uuid4())
    people = [(owner, "Owner 01", "owner", state["owner"])]
    people += [(name, f"Tech {at + 1:02}", "technician", state["phones"][at]) for at, name in enumerate(state["people"])]
    for name, called, role, token in people:
        db.execute("INSERT INTO people VALUES (?, ?, ?)", (name, called, role))
        db.execute("INSERT INTO tokens VALUES (?, ?)", (hashlib.sha256(token.encode()).hexdigest(), name))
    for at, name in enumerate(state["clients"]):
        db.execute("INSERT INTO clients VALUES (?, ?, ?, ?)", (name, f"Client {at:05}", f"{at:05} Street A, Sampletown", DAY_0))
    for at, name in enumerate(state["properties"]):
        place = (name, state["clients"][at // 4], "Home", f"{at} Street A, Sampletown", "21000", "America/New_York", '["us-nj"]', "lawn", 1, DAY_0)
        db.execute(f"INSERT INTO properties VALUES ({', '.join('?' * 10)})", place)
    year = state["year"]
    for at, name in enumerate(state["sections"]):
        called = ("front lawn", "rear lawn")[at % 2]
        section = (name, state["properties"][at // 2], called, "tall_fescue", area(at), f"{year - 7}-01-05", f"{year - 1}-01-05", CAP)
        db.execute(f"INSERT INTO sections VALUES ({', '.join('?' * 8)})", section)
    for at, name in enumerate(state["products"]):
        db.execute("INSERT INTO products VALUES (?, ?, ?, ?, 1200, 0, 1000)", (name, f"Feed {23 + at}-0-10", f"{23 + at}-0-10", (23 + at) * 100))
        db.execute("INSERT INTO stock_totals VALUES (?, ?)", (name, 900_000_000_000))
    records(state, db)
    db.execute("COMMIT")
    db.close()


def area(section):
    return (5000 + section % 60 * 100) * 100


def records(state, db):
    findings = json.loads((HERE / "findings.json").read_text())
    compact = lambda value: json.dumps(value, separators=(",", ":"))
    head = "0" * 64
    mass = 14_500_000
    pounds = lambda millionths: f"{millionths / 1e6:.6f}".rstrip("0").rstrip(".")
    for number in range(state["records"]):
        at = number % len(state["sections"])
        row = company.row(state, number, company.past(state, number), "14.5")
        place, section, product, started = row[0], row[1], row[2], row[7]
        what, who = state["products"].index(product), state["phones"].index(row[6])
        day, key = started[:10], str(uuid.uuid4())
        person = state["people"][who]
        nitrogen, quick, potash = mass * (23 + what) // 100, mass * (11 + what) // 100, mass // 10
        delivers = {"nitrogen_lb": pounds(nitrogen), "quick_nitrogen_lb": pounds(quick), "phosphate_lb": "0", "potash_lb": pounds(potash)}
        sent = company.record()
        for name in ("property_id", "product_id", "lot_id", "visit_id", "equipment_id", "started_at", "finished_at", "phone_started_at", "phone_finished_at", "sent_at"):
            sent[name] = row[int(sent[name].strip("<>"))]
        text = compact(sent)
        for gap in (1, 7, 8, 9, 10, 11):
            text = text.replace(f"<{gap}>", row[gap])
        content = compact({
            "id": key, **json.loads(text), "person_id": person, "person_name": f"Tech {who + 1:02}", "applied_on": day, "verdict": "care",
            "lines": [{"section_id": section, "area_sqft": str(area(at) // 100), "product_lb": "14.5", "delivers": delivers,
                       "nitrogen_lb_per_1000_sqft": pounds(nitrogen * 100000 // area(at))}],
            "received_at": started,
        })
        judged = {"section_id": section, "limit": pounds(CAP), "before": "1.25", "after": "1.875"}
        decision = compact({"decided_at": started, "verdict": "care", "sections": [judged], "findings": findings})
        db.execute(
            "INSERT INTO applications (id, property_id, product_id, person_id, applied_on, received_at, verdict, content, fingerprint)"
            " VALUES (?, ?, ?, ?, ?, ?, 'care', ?, ?)",
            (key, place, product, person, day, started, content, hashlib.sha256(text.encode()).hexdigest()),
        )
        db.execute("INSERT INTO decisions VALUES (?, ?)", (key, decision))
        db.execute(
            "INSERT INTO application_lines (application_id, section_id, applied_on, area, product, nitrogen, quick_nitrogen, phosphate, potash)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, 0, ?)",
            (key, section, day, area(at), mass, nitrogen, quick, potash),
        )
        db.execute("INSERT INTO stock_movements (product_id, mass, application_id, moved_on) VALUES (?, ?, ?, ?)", (product, -mass, key, day))
        payload = f'{{"record":{content},"decision":{decision}}}'
        seq = number + 1
        text = f"{seq}\n{started}\n{person}\napplication.recorded\n{key}\n{payload}\n{head}"
        previous, head = head, hashlib.sha256(text.encode()).hexdigest()
        db.execute("INSERT INTO journal VALUES (?, ?, ?, 'application.recorded', ?, ?, ?, ?)", (seq, started, person, key, payload, previous, head))


def need(command, *packages):
    if shutil.which(command) is None:
        subprocess.run(["apt-get", "update", "-qq"], check=True)
        subprocess.run(["apt-get", "install", "-y", "-qq", *packages], check=True, env=dict(os.environ, DEBIAN_FRONTEND="noninteractive"))


def fastify(tools):
    """Installs what the program needs, a C++ module built here among it; answers how it is started."""
    need("node", "nodejs", "npm", "libnode-dev")
    need("g++", "g++", "make")
    folder = installed(tools / "fastify", HERE / "fastify" / "package.json")
    if folder is not None:
        shutil.copy(HERE / "fastify" / "package.json", folder)
        # The headers that came with Node: the build would fetch its own.
        headers = dict(os.environ, npm_config_nodedir="/usr")
        subprocess.run(["npm", "install", "--silent", "--no-audit", "--no-fund", "--no-package-lock"], cwd=folder, check=True, env=headers)
        done(folder, HERE / "fastify" / "package.json")
    shutil.copy(HERE / "fastify" / "server.js", tools / "fastify" / "server.js")
    start = lambda book, port: (["node", str(tools / "fastify" / "server.js"), str(book), str(port), str(HERE / "findings.json")], {})
    return start


def fastapi(tools):
    folder = installed(tools / "fastapi", HERE / "fastapi" / "requirements.txt")
    if folder is not None:
        subprocess.run([sys.executable, "-m", "venv", str(folder / "python")], check=True)
        subprocess.run(
            [str(folder / "python/bin/python"), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "-r",
             str(HERE / "fastapi" / "requirements.txt")],
            check=True,
        )
        done(folder, HERE / "fastapi" / "requirements.txt")
    command = [
        str(tools / "fastapi/python/bin/python"), "-m", "uvicorn", "server:app", "--app-dir", str(HERE / "fastapi"), "--log-level",
        "warning", "--no-access-log", "--loop", "uvloop", "--http", "httptools",
    ]
    environment = lambda book: {"BOOK": str(book), "FINDINGS": str(HERE / "findings.json"), "PYTHONDONTWRITEBYTECODE": "1"}
    return lambda book, port: ([*command, "--port", str(port)], environment(book))


def installed(folder, wanted):
    """The empty folder to install into; nothing where what is wanted stands there already."""
    if folder.is_dir() and (folder / "wanted").is_file() and (folder / "wanted").read_text() == wanted.read_text():
        return None
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    return folder


def done(folder, wanted):
    (folder / "wanted").write_text(wanted.read_text())
