"""How long somebody waits for who they are and for a record, alone and while others ask for much: half-open lines, statements of a client
with 1,500 records, plans, exports, one technician who sends 1,500 records. The server has the limits that it has by itself."""

import http.client
import json
import resource
import socket
import threading
import time
import uuid
from datetime import date

import company
import servers

RECORDS = 1500
# Answers of somebody else that a 99th percentile is taken of, at most: within the budget of one phone.
MOST = 600
# How much longer than alone somebody may wait.
ALLOWED = 5


class Somebody:
    """A technician with a connection of their own, who asks one thing after the other."""

    def __init__(self, address, state):
        self.line = http.client.HTTPConnection(address, timeout=60)
        self.values = company.row(state, 6, company.measured_day(), "0.01")
        self.headers = {"authorization": f"Bearer {self.values[6]}", "content-type": "application/json"}
        self.body = json.dumps(company.record())
        for number, value in enumerate(self.values):
            self.body = self.body.replace(f"<{number}>", value)

    def ask(self, method, path, body=None):
        begun = time.monotonic()
        self.line.request(method, path, body, self.headers)
        answer = self.line.getresponse()
        answer.read()
        return answer.status, (time.monotonic() - begun) * 1000

    def look(self, goes_on):
        """Times of both, while something goes on, and how many were refused."""
        times, refused = {"me": [], "record": []}, 0
        while goes_on() and len(times["me"]) < MOST:
            asked = ("me", "GET", "/api/v1/me", None, 200), ("record", "PUT", f"/api/v1/applications/{uuid.uuid4()}", self.body, 201)
            for name, method, path, body, wanted in asked:
                status, took = self.ask(method, path, body)
                refused += status != wanted
                times[name].append(took)
        return times, refused


def p99(times):
    return sorted(times)[min(len(times) - 1, len(times) * 99 // 100)]


def half_open(address, done):
    host, port = address.split(":")
    lines = []
    for _ in range(1100):
        line = socket.create_connection((host, int(port)))
        line.sendall(b"GET /api/v1/me HTTP/1.1\r\nHost: a\r\n")
        lines.append(line)
    done.wait()
    for line in lines:
        line.close()


def asked(load, plan):
    return lambda address, done: load(plan | {"address": address})


def crowds(load, state, programme):
    get = {"method": "GET", "status": 200, "headers": [f"authorization: Bearer {state['owner']}"]}
    statement = f"/api/v1/statements?year={company.measured_day().year}&client_id={state['clients'][0]}"
    plan = f"/api/v1/programmes/{programme}/plan?client_id=<0>"
    # The first technician's places are every fourth one.
    sent = [company.row(state, section, company.measured_day(), "0.01") for section in range(0, len(state["sections"]), 8)]
    return {
        "1,100 half-open lines": half_open,
        f"100 statements of {RECORDS:,} records": asked(load, get | {"path": statement, "callers": 100, "requests": 100}),
        "20 plans": asked(load, get | {"path": plan, "rows": [[client] for client in state["clients"]], "callers": 20, "requests": 20}),
        "10 exports": asked(load, get | {"path": f"{statement}&format=csv", "callers": 10, "requests": 10}),
        "1,500 records of one": asked(load, company.put(state, sent) | {"callers": 64, "requests": 1500}),
    }


def programme(address, state):
    year = date.today().year + 1
    rounds = [{"name": name, "from": f"{year}-{begin}", "to": f"{year}-{end}"} for name, begin, end in
              (("spring", "03-20", "05-10"), ("early autumn", "09-05", "10-05"), ("late autumn", "10-06", "11-10"))]
    return company.Office(address, state["owner"]).post("/api/v1/programmes", {
        "name": "Cool-season lawns", "season_year": year, "equipment": "rotary_spreader_with_deflector", "rounds": rounds,
        "products": [{"product_id": product, "bag_price_usd": "31", "may_buy": True} for product in state["products"]],
        "needs": [{"species": "tall_fescue", "published": "Maryland, tall fescue and Kentucky bluegrass"}],
        "least_product_lb_per_1000_sqft": "0.5",
    })["id"]


def prepare(load, state, start, book, folder):
    """One client gets its 1,500 records, and there is a program to plan by. By a server of its own, whose budgets it takes with it."""
    rows = [company.row(state, number % 8, company.measured_day(), "0.01") for number in range(RECORDS)]
    with servers.Server(start, book, folder / "crowd") as server:
        load(company.put(state, rows) | {"address": server.address, "callers": 16, "requests": len(rows)})
        return programme(server.address, state)


def one(start, book, folder, state, crowd):
    with servers.Server(start, book, folder / "crowd") as server:
        somebody = Somebody(server.address, state)
        if crowd is None:
            return somebody.look(lambda: True)
        done = threading.Event()
        faults = []

        def gather():
            try:
                crowd(server.address, done)
            except BaseException as fault:  # The load generator says by SystemExit what failed.
                faults.append(fault)

        gathering = threading.Thread(target=gather)
        gathering.start()
        time.sleep(0.3)
        begun = time.monotonic()
        seen = somebody.look(lambda: gathering.is_alive() and time.monotonic() - begun < 30)
        done.set()
        gathering.join()
        if faults:
            raise SystemExit(f"the crowd itself failed: {faults[0]}")
        return seen


def run(state, load, book, folder, starts, tell):
    """`starts` are how the server is started without its budgets, to make the book, and as it is by itself."""
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(4096, resource.getrlimit(resource.RLIMIT_NOFILE)[1]),) * 2)
    named = prepare(load, state, starts[0], book, folder)
    tell("alone")
    quiet, refused = one(starts[1], book, folder, state, None)
    alone = {name: p99(times) for name, times in quiet.items()}
    lines = ["| | who I am, p99 | | a record, p99 | | asked | refused |", "|---|---|---|---|---|---|---|",
             f"| alone | {alone['me']:.1f} ms | | {alone['record']:.1f} ms | | {len(quiet['me'])} | {refused} |"]
    kept = not refused
    for name, crowd in crowds(load, state, named).items():
        tell(name)
        times, refused = one(starts[1], book, folder, state, crowd)
        told = []
        for what in ("me", "record"):
            ratio = p99(times[what]) / alone[what]
            kept = kept and ratio < ALLOWED
            told.append(f"{p99(times[what]):.1f} ms | × {ratio:.1f}")
        kept = kept and not refused
        lines.append(f"| {name} | {' | '.join(told)} | {len(times['me'])} | {refused} |")
    print("\n" + "\n".join(lines), flush=True)
    return kept
