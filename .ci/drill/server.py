"""A server under trial, a company in its book, and how the two are spoken with."""

import json
import os
import signal
import socket
import subprocess
import time
import urllib.error
import urllib.request
import uuid

PASSWORD = "three plain words here"


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Server:
    def __init__(self, program, file):
        self.program, self.file, self.code = program, file, None

    def start(self, log="error", stderr=None, options=(), **more):
        self.port = free_port()
        # One who asks as fast as one can is alone here, and no share of others is kept from it.
        budgets = ["--units-per-token", "0", "--units-per-address", "0"]
        command = [self.program, "serve", *budgets, "--file", self.file, "--listen", f"127.0.0.1:{self.port}", "--log", log,
                   *options]
        # A file that reaches a limit is a failed write like any other, and must not be a signal that kills.
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=stderr, text=True, restore_signals=False, **more)
        line = self.process.stdout.readline()
        while line:
            if "code:" in line:
                self.code = line.split("code:")[1].strip()
                break
            if self.code:
                break
            line = self.process.stdout.readline()
        for _ in range(200):
            try:
                self.call("GET", "/healthz")
                return
            except OSError:
                time.sleep(0.02)
        raise SystemExit("the server does not answer")

    def kill(self):
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def stop(self):
        """Ends it as a supervisor does; everything is in the one file then."""
        self.process.terminate()
        # Ten seconds for whoever is being answered, and what waits for the disk.
        if self.process.wait(60) != 0:
            raise SystemExit(f"asked to end, the server ended with {self.process.returncode}")
        beside = self.file + "-wal"
        if os.path.exists(beside) and os.path.getsize(beside):
            raise SystemExit("after a clean stop there is something beside the file")

    def call(self, method, path, body=None, token=None, port=None, key=None):
        headers = {"content-type": "application/json"}
        if token:
            headers["authorization"] = f"Bearer {token}"
        if key:
            headers["idempotency-key"] = key
        data = None if body is None else json.dumps(body).encode()
        address = f"http://127.0.0.1:{port or self.port}{path}"
        request = urllib.request.Request(address, data, headers, method=method)
        try:
            with urllib.request.urlopen(request, timeout=10) as reply:
                text = reply.read()
                return reply.status, json.loads(text) if text else None
        except urllib.error.HTTPError as error:
            return error.code, json.loads(error.read())

    def verify(self):
        """What the check of the whole book says; it must find nothing."""
        done = subprocess.run([self.program, "verify", "--file", self.file], capture_output=True, text=True)
        if done.returncode:
            raise SystemExit(f"the check of the book says:\n{done.stdout}{done.stderr}")
        return done.stdout


def made(answer):
    status, body = answer
    if status != 201:
        raise SystemExit(f"{status}: {body}")
    return body


def expect(what, answer, *statuses):
    status, body = answer
    if status not in statuses:
        raise SystemExit(f"{what} answered {status}: {body}")
    return body


def company(server):
    sign_in = {"name": "owner", "password": PASSWORD}
    set_up = {"setup_code": server.code, "company_name": "Demonstration Company", "time_zone": "America/New_York",
              "owner_name": "Owner 01", "sign_in": sign_in}
    made(server.call("POST", "/api/v1/setup", set_up))
    token = made(server.call("POST", "/api/v1/sessions", sign_in))["token"]
    post = lambda path, body: made(server.call("POST", path, body, token))["id"]
    client = post("/api/v1/clients", {"name": "Client 001", "mailing_address": "1 Street A"})
    place = post("/api/v1/properties", {"client_id": client, "name": "Home", "address": "1 Street A", "postal_code": "21000",
                                        "time_zone": "America/New_York", "rule_sets": ["us-pa"]})
    section = post("/api/v1/sections", {"property_id": place, "name": "lawn", "species": "tall_fescue", "water": "none",
                                        "touches_pavement": False})
    measured = {"area_sqft": "50000", "measured_on": "2020-01-01", "method": "wheel", "measured_by": "Office 01"}
    post(f"/api/v1/sections/{section}/measurements", measured)
    label = {"form": "granular", "nitrogen_percent": "24", "slow_nitrogen_percent": "12", "phosphate_percent": "0", "potash_percent": "10"}
    product = post("/api/v1/products", {"name": "Feed 24-0-10", "label": label, "net_weight_lb": "50"})
    now = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime())
    record = {"property_id": place, "product_id": product, "started_at": now, "finished_at": now, "purpose": "maintenance",
              "equipment": "drop_spreader", "ground": "moist", "pavement_cleaned": True,
              "lines": [{"section_id": section, "product_lb": "0.01"}]}
    return token, record


def put(server, record, token):
    """Sends a record under a new id."""
    name = str(uuid.uuid4())
    return name, server.call("PUT", f"/api/v1/applications/{name}", record, token)
