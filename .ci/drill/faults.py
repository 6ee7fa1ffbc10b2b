"""Calls on the book's files that fail when they are told to, and what of them outlives a power cut."""

import ctypes
import errno
import mmap
import os
import random
import shutil
import sqlite3
import struct
import subprocess
import threading
import time

from server import Server, expect, put

WRITE, SYNC, READ, TRUNCATE = 1, 2, 3, 4
PAGE = 4096


def library(folder):
    """What is preloaded, compiled here; nothing where there is no C compiler."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    if not compiler:
        raise SystemExit("the drill needs a C compiler")
    made = os.path.join(folder, "faults.so")
    source = os.path.join(os.path.dirname(os.path.abspath(__file__)), "faults.c")
    subprocess.run([compiler, "-O2", "-shared", "-fPIC", "-o", made, source, "-ldl", "-lpthread"], check=True)
    return made


class Orders:
    """The page that the preloaded part reads: call, error, after, times, struck."""

    def __init__(self, path):
        with open(path, "wb") as page:
            page.write(bytes(PAGE))
        with open(path, "r+b") as page:
            self.map = mmap.mmap(page.fileno(), PAGE)
        self.numbers = (ctypes.c_int32 * 5).from_buffer(self.map)

    def give(self, call, error, times, after=0):
        # The call comes last: nothing strikes before the rest stands.
        self.numbers[0] = 0
        self.numbers[1:5] = [error, after, times, 0]
        self.numbers[0] = call

    def end(self):
        struck = self.numbers[4]
        self.give(0, 0, 0)
        return struck


def environment(library, file, orders=None, journal=None):
    names = {"LD_PRELOAD": library, "DRILL_BOOK": os.path.realpath(file)}
    names |= {"DRILL_ORDERS": orders} if orders else {}
    return os.environ | names | ({"DRILL_JOURNAL": journal} if journal else {})


def recovered(server, token, record, names, what):
    """Afterwards nobody is needed: what was refused comes again and is stored, and the server is ready."""
    for _ in range(100):
        if server.call("GET", "/readyz")[0] == 204:
            break
        time.sleep(0.1)
    expect(f"readiness after {what}", server.call("GET", "/readyz"), 204)
    for name in names:
        answer = server.call("PUT", f"/api/v1/applications/{name}", record, token)
        expect(f"a record sent again after {what}", answer, 200, 201)


def failing_calls(server, token, record, library, folder):
    """Writes, syncs and reads of the book fail once and for a while, with each error that a disk has."""
    page = os.path.join(folder, "orders")
    orders = Orders(page)
    server.stop()
    # Each failure is logged, which is not what is tried here.
    server.start(stderr=subprocess.DEVNULL, env=environment(library, server.file, orders=page))
    stored, struck = 0, {}
    trials = [(WRITE, errno.EIO), (WRITE, errno.ENOSPC), (SYNC, errno.EIO), (SYNC, errno.ENOSPC), (READ, errno.EIO)]
    for call, error in trials:
        for times, after in [(1, 0), (1, 3), (1000, 0)]:
            what = f"{['', 'write', 'sync', 'read'][call]} {errno.errorcode[error]}"
            orders.give(call, error, times, after)
            names = []
            for _ in range(4):
                name, (status, body) = put(server, record, token)
                names.append(name)
                if status not in (201, 500, 503):
                    raise SystemExit(f"a record while every {what} fails answered {status}: {body}")
                if status != 201 and not body.get("code"):
                    raise SystemExit(f"a record while every {what} fails got no problem document: {body}")
                known, _ = server.call("GET", "/api/v1/applications?limit=5", token=token)
                if known not in (200, 500, 503):
                    raise SystemExit(f"a list while every {what} fails answered {known}")
            struck[what] = struck.get(what, 0) + orders.end()
            recovered(server, token, record, names, what)
            stored += len(names)
    server.stop()
    server.verify()
    never = [what for what, times in struck.items() if not times and not what.startswith("read")]
    if never:
        raise SystemExit(f"these never failed, so nothing was tried: {never}")
    told = ", ".join(f"{what} {times} times" for what, times in struck.items())
    print(f"failing calls ({told}): {stored} records sent, each stored once the disk was well")
    server.start()
    return stored


def entries(journal):
    """What reached the files, in its order, each with the place in the journal where it ends."""
    with open(journal, "rb") as kept:
        text = kept.read()
    at = 0
    while at + 14 <= len(text):
        call, of = text[at], text[at + 1]
        offset, length = struct.unpack("<qI", text[at + 2:at + 14])
        at += 14
        held = text[at:at + length] if call == WRITE else b""
        at += len(held)
        yield call, of, offset, held, at


class Disk:
    """Two files as a disk has them: what is safe, and what was written since, of which a power cut leaves anything."""

    def __init__(self):
        self.safe = [bytearray(), bytearray()]
        self.since = [[], []]

    def take(self, call, of, offset, held):
        if call == SYNC:
            for one in self.since[of]:
                self.apply(self.safe[of], *one)
            self.since[of] = []
        else:
            self.since[of].append((call, offset, held))

    @staticmethod
    def apply(image, call, offset, held):
        if call == TRUNCATE:
            del image[offset:]
            image.extend(bytes(offset - len(image)))
        else:
            image.extend(bytes(max(0, offset - len(image))))
            image[offset:offset + len(held)] = held

    def cut(self, path, chance):
        """The files after a power cut: of what was not safe each piece is there, missing, or there in part."""
        for of, end in enumerate(["", "-wal"]):
            image = bytearray(self.safe[of])
            for call, offset, held in self.since[of]:
                fate = chance.random()
                if fate < 0.4:
                    continue
                if call == WRITE and fate < 0.6:
                    held = held[:chance.randrange(0, len(held) // 512 + 1) * 512]
                self.apply(image, call, offset, held)
            with open(path + end, "wb") as file:
                file.write(image)

    def whole(self):
        for of in range(2):
            for one in self.since[of]:
                self.apply(self.safe[of], *one)
            self.since[of] = []
        return self.safe


def power_cuts(program, library, folder, cuts, company):
    """Plays power cuts at chance moments of a run: whatever was acknowledged before is there, and the book fits."""
    file, journal = os.path.join(folder, "power.db"), os.path.join(folder, "power.calls")
    server = Server(program, file)
    server.start(env=environment(library, file, journal=journal))
    token, record = company(server)
    begun = os.path.getsize(journal)
    acknowledged, stop = [], threading.Event()

    def write():
        while not stop.is_set():
            name, (status, _) = put(server, record, token)
            if status == 201:
                # Whatever it took was kept by now.
                acknowledged.append((os.path.getsize(journal), name))

    writers = [threading.Thread(target=write, daemon=True) for _ in range(6)]
    for writer in writers:
        writer.start()
    time.sleep(2.5)
    stop.set()
    for writer in writers:
        writer.join()
    server.kill()
    steps = list(entries(journal))
    disk = Disk()
    for call, of, offset, held, _ in steps:
        disk.take(call, of, offset, held)
    for image, end in zip(disk.whole(), ["", "-wal"]):
        with open(file + end, "rb") as left:
            if left.read() != bytes(image):
                raise SystemExit(f"the calls that were kept do not make the file power.db{end}: the drill proves nothing")
    chance, within = random.Random(random.random()), [at for *_, at in steps if at >= begun]
    moments = sorted(chance.sample(within, min(cuts, len(within))))
    disk, asked, checked = Disk(), iter(moments), 0
    moment = next(asked, None)
    after = os.path.join(folder, "after.db")
    for call, of, offset, held, at in steps:
        disk.take(call, of, offset, held)
        if at != moment:
            continue
        for end in ["", "-wal", "-shm"]:
            if os.path.exists(after + end):
                os.remove(after + end)
        disk.cut(after, chance)
        with sqlite3.connect(after) as book:
            there = {name for (name,) in book.execute("SELECT id FROM applications")}
        book.close()
        lost = [name for when, name in acknowledged if when <= at and name not in there]
        if lost:
            raise SystemExit(f"a power cut lost {len(lost)} acknowledged records, {lost[0]} first")
        Server(program, after).verify()
        checked += 1
        moment = next(asked, None)
    print(f"{checked} power cuts in a run of {len(acknowledged)} records and {len(steps)} calls: nothing acknowledged was lost, each book fits")
