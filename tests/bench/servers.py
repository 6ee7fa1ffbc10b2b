"""Starting a server, asking it by the load generator, and what it costs the machine meanwhile."""

import ctypes
import json
import os
import re
import signal
import socket
import subprocess
import time
from pathlib import Path


def end_with_parent():
    """Run in a new process before its program: the kernel ends it when the bench is gone, however it went."""
    PR_SET_PDEATHSIG = 1
    ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGKILL)


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Server:
    """One server by itself; it ends with the `with` block."""

    def __init__(self, start, book, log):
        self.port = free_port()
        self.address = f"127.0.0.1:{self.port}"
        command, environment = start(book, self.port)
        self.out, self.err = log.with_suffix(".out"), log.with_suffix(".err")
        self.begun = time.monotonic()
        self.process = subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=self.out.open("wb"), stderr=self.err.open("wb"),
            env=dict(os.environ, **environment), preexec_fn=end_with_parent,
        )

    def __enter__(self):
        try:
            while not self.answers():
                if self.process.poll() is not None or time.monotonic() - self.begun > 120:
                    raise SystemExit(f"The server did not start:\n{self.out.read_text()}{self.err.read_text()}")
                time.sleep(0.001)
            self.started_ms = (time.monotonic() - self.begun) * 1000
            return self
        except BaseException:
            self.__exit__()
            raise

    def answers(self):
        """Whether it answers anything at all, if only that one must sign in."""
        try:
            with socket.create_connection(("127.0.0.1", self.port), timeout=5) as line:
                line.sendall(b"GET /api/v1/properties/x HTTP/1.1\r\nhost: x\r\nconnection: close\r\n\r\n")
                return line.recv(12).startswith(b"HTTP/1.1")
        except OSError:
            return False

    def __exit__(self, *_):
        self.process.terminate()
        try:
            self.process.wait(60)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()

    def set_up_code(self):
        for _ in range(100):
            found = re.search(r"set-up code: (\S+)", self.out.read_text())
            if found:
                return found.group(1)
            time.sleep(0.05)
        raise SystemExit("The server names no set-up code.")

    def cpu_s(self):
        fields = Path(f"/proc/{self.process.pid}/stat").read_text().rsplit(")", 1)[1].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def written(self):
        """Bytes that it has given to the disk: its log and its checkpoints."""
        return int(re.search(r"^write_bytes: (\d+)", Path(f"/proc/{self.process.pid}/io").read_text(), re.M).group(1))

    def memory_mb(self):
        return int(re.search(r"VmRSS:\s+(\d+)", Path(f"/proc/{self.process.pid}/status").read_text()).group(1)) / 1024

    def measure(self, load, plan, callers, seconds):
        cpu, written = self.cpu_s(), self.written()
        seen = load(plan | {"address": self.address, "callers": callers, "seconds": seconds, "may_refuse": True})
        # What is refused costs too, and whoever is answered pays for it.
        count = max(seen["requests"], 1)
        return {
            "rate": seen["requests"] / seen["seconds"], "p99_ms": seen["p99_ms"], "refused": seen["refused"],
            "cpu_ms": (self.cpu_s() - cpu) * 1000 / count, "written_kib": (self.written() - written) / 1024 / count,
            "answer_kb": seen["bytes"] / 1000 / count,
        }


def loader(program):
    def load(plan):
        done = subprocess.run([program], input=json.dumps(plan), text=True, capture_output=True, preexec_fn=end_with_parent)
        if done.returncode != 0:
            raise SystemExit(f"The load generator failed: {done.stderr}")
        return json.loads(done.stdout)

    return load


def fsync_ms(folder):
    """The middle of 200 times that 4 KiB take to the disk."""
    times = []
    path = folder / "probe"
    with path.open("wb", buffering=0) as file:
        for _ in range(200):
            file.write(bytes(4096))
            start = time.monotonic()
            os.fsync(file.fileno())
            times.append((time.monotonic() - start) * 1000)
    path.unlink()
    return sorted(times)[100]
