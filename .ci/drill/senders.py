"""Many at once who send everything there is to send, over a line that is cut, to a server that is killed, stopped and held."""

import random
import signal
import socket
import threading
import time
import uuid
from http.client import HTTPException

from server import free_port


class CuttingProxy:
    """Passes connections on, and cuts every third: before, within or after the request, or within the answer."""

    def __init__(self, server):
        self.server, self.cuts, self.port = server, 0, free_port()
        self.listener = socket.create_server(("127.0.0.1", self.port), backlog=256)
        threading.Thread(target=self.accept, daemon=True).start()

    def accept(self):
        while True:
            try:
                line, _ = self.listener.accept()
            except OSError:
                return
            threading.Thread(target=self.passed_on, args=(line,), daemon=True).start()

    def passed_on(self, line):
        there, back = None, None
        if random.random() < 1 / 3:
            self.cuts += 1
            there = random.choice([None, 0, 40, 400])
            back = random.choice([0, 1, 60, 300]) if there is None else None
        try:
            with line, socket.create_connection(("127.0.0.1", self.server.port), timeout=10) as other:
                line.settimeout(10)
                forth = threading.Thread(target=self.copy, args=(line, other, there), daemon=True)
                forth.start()
                self.copy(other, line, back)
        except OSError:
            pass

    @staticmethod
    def copy(source, target, most):
        """Copies until an end, or until so many bytes went through."""
        sent = 0
        try:
            while most is None or sent < most:
                part = source.recv(16384 if most is None else most - sent)
                if not part:
                    return
                target.sendall(part)
                sent += len(part)
        except OSError:
            return
        finally:
            for one in (source, target):
                try:
                    one.shutdown(socket.SHUT_RDWR)
                except OSError:
                    pass

    def end(self):
        self.listener.close()


def acts(record, at):
    """Everything that is sent from phones and the office, each with the table that it fills. What needs the id of another follows it."""
    day = at[:10]
    section, place, product = record["lines"][0]["section_id"], record["property_id"], record["product_id"]
    name = uuid.uuid4().hex[:12]
    measured = {"area_sqft": "50000", "measured_on": "2021-01-01", "method": "wheel", "measured_by": "Office 01"}
    soil = {"sampled_on": "2025-03-01", "laboratory": "Sample Laboratory", "extractant": "mehlich_3", "phosphorus": "optimum"}
    plan = {key: record[key] for key in ("property_id", "product_id", "purpose", "equipment", "ground", "lines")}
    plan["planned_on"] = day
    weather = {"air_temperature": {"air_temperature_f": "68.5", "source": "technician", "observed_at": at},
               "rain_forecast": [{"rain_in": "0.05", "hours": 24, "source": "technician", "issued_at": at}],
               "alerts": {"active": [], "source": "technician", "looked_at": at}}
    course = {"method": "course", "put_in_lb": "10", "left_over_lb": "5.2", "swath_ft": "8", "swath_by": "half_of_centre",
              "distance_ft": "125", "target_lb_per_1000_sqft": "5"}
    return [
        ("clients", "POST", "/api/v1/clients", {"name": f"Client {name}", "mailing_address": "2 Street B"}),
        ("sections", "POST", "/api/v1/sections",
         {"property_id": place, "name": f"lawn {name}", "species": "tall_fescue", "water": "none", "touches_pavement": False}),
        ("measurements", "POST", "/api/v1/sections/{sections}/measurements", measured),
        ("soil_reports", "POST", "/api/v1/sections/{sections}/soil-reports", soil),
        ("lots", "POST", "/api/v1/lots",
         {"product_id": product, "lot_number": f"LOT-{name}", "supplier": "Sample Supply", "received_on": day, "received_lb": "50"}),
        ("equipment", "POST", "/api/v1/equipment",
         {"name": f"Spreader {name}", "kind": "rotary_spreader", "has_deflector": True, "hopper_lb": "50", "active": True}),
        ("applications", "PUT", "/api/v1/applications/{id}", record),
        ("record_additions", "POST", "/api/v1/applications/{applications}/additions", {"seen": {"wind_from": "north"}}),
        ("corrections", "PUT", "/api/v1/corrections/{id}",
         {"application_id": "{applications}", "reason": "Weighed again.", "change": {"lines": [{"section_id": section, "product_lb": "0.02"}]}}),
        ("clearances", "PUT", "/api/v1/clearances/{id}", plan | {"weather": weather}),
        ("calibrations", "POST", "/api/v1/calibrations",
         {"equipment_id": "{equipment}", "product_id": product, "calibrated_on": day, "test": course}),
    ]


class Sender:
    """Sends each act until it is answered, as a phone does: what is not answered is sent again, the same under the same id or key."""

    def __init__(self, server, port, token, record, at):
        self.server, self.port, self.token = server, port, token
        self.acts, self.known, self.tries, self.fault = acts(record, at), {}, 0, None

    def run(self):
        try:
            for table, method, path, body in self.acts:
                self.known[table] = self.until_answered(method, path, body)
        except SystemExit as fault:
            self.fault = str(fault)

    def until_answered(self, method, path, body):
        key = str(uuid.uuid4())
        path = path.format(id=key, **self.known)
        body = {name: value.format(**self.known) if isinstance(value, str) else value for name, value in body.items()}
        for _ in range(200):
            self.tries += 1
            try:
                status, answer = self.server.call(method, path, body, self.token, self.port, key if method == "POST" else None)
            except (OSError, ValueError, HTTPException):
                status, answer = 0, None
            # An answer that is cut within its head can look like one without a body: it is none.
            if not isinstance(answer, dict):
                time.sleep(random.uniform(0.01, 0.2))
                continue
            if status in (200, 201):
                return answer["id"]
            if status == 422 and path.startswith("/api/v1/clearances/"):
                return None
            if status not in (429, 500, 503):
                raise SystemExit(f"{method} {path} answered {status}: {answer}")
            time.sleep(random.uniform(0.05, 0.3))
        raise SystemExit(f"{method} {path} was never answered")


def storm(server, token, record, count, troubles):
    """All of it at once; meanwhile the server is killed, ended, and held for a moment. Answers what each table must have gained."""
    at = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime())
    proxy = CuttingProxy(server)
    senders = [Sender(server, proxy.port, token, record, at) for _ in range(count)]
    threads = [threading.Thread(target=sender.run, daemon=True) for sender in senders]
    for thread in threads:
        thread.start()
    done = []
    for trouble in troubles:
        time.sleep(random.uniform(0.3, 0.9))
        done.append(trouble)
        if trouble == "kill":
            server.kill()
            server.start()
        elif trouble == "end":
            server.stop()
            server.start()
        else:
            server.process.send_signal(signal.SIGSTOP)
            time.sleep(0.7)
            server.process.send_signal(signal.SIGCONT)
    for thread in threads:
        thread.join()
    proxy.end()
    faults = [sender.fault for sender in senders if sender.fault]
    if faults:
        raise SystemExit(f"{len(faults)} of {count} senders failed: {faults[0]}")
    gained = {}
    for sender in senders:
        for table, name in sender.known.items():
            if name:
                gained.setdefault(table, set()).add(name)
    tries = sum(sender.tries for sender in senders)
    total = sum(len(names) for names in gained.values())
    print(f"{count} senders, {proxy.cuts} lines cut, {', '.join(done)}: {total} acts of {len(gained)} kinds in {tries} tries")
    return gained
