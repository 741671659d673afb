"""A Spark cluster on loopback: a master and workers, each a process of its own. Used by tests/it/spark.rs.

    spark.py SPARK_PIPE FOLDER OTHER_RULES COMMAND...

FOLDER holds in.ndjson. Prints one JSON object: for each of three jobs its exit status, what it printed, and whether it left
`_SUCCESS`. Everything that it started has ended when it ends.

- `killed`: two workers; one is killed together with its executor once a part is done, in the middle of its next one.
- `other_rules`: one worker alone, whose rule set is another.
- `drops_a_line`: the last line of each part has no answer.
"""

import contextlib
import ctypes
import json
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pyspark

HOME = Path(pyspark.__file__).parent
MASTER, WORKER = "org.apache.spark.deploy.master.Master", "org.apache.spark.deploy.worker.Worker"
N_PARTS = 8
# The command, and then a pause, so that there is a middle in which a worker can be killed.
SLOWLY = ["sh", "-c", 'sleep 1; exec "$@"', "sh"]
# Seconds that one step may take on a machine with much else to do.
LONGEST = 300


def environment(folder, **more):
    return {
        "PATH": os.environ["PATH"],
        "HOME": str(folder),
        "SPARK_HOME": str(HOME),
        "SPARK_LOCAL_IP": "127.0.0.1",
        "SPARK_LOCAL_DIRS": str(folder / "scratch"),
        "SPARK_WORKER_DIR": str(folder / "work"),
        "SPARK_DAEMON_MEMORY": "256m",
        "SPARK_DAEMON_JAVA_OPTS": "-Dspark.master.rest.enabled=false",
        # Six of Java's machines start for a second's work each.
        "JAVA_TOOL_OPTIONS": "-XX:TieredStopAtLevel=1 -XX:+UseSerialGC",
        "PYSPARK_PYTHON": sys.executable,
        **more,
    }


def dies_with_us():
    """Asks the system to kill this process when its parent ends, however that ends."""
    ctypes.CDLL(None).prctl(1, signal.SIGKILL)


class Cluster:
    def __init__(self, folder):
        self.folder, self.started = folder, []
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.port = free.getsockname()[1]
        self.url = f"spark://127.0.0.1:{self.port}"

    def start(self, name, *arguments, **more):
        log = open(self.folder / f"{name}.log", "wb")
        command = [HOME / "bin/spark-class", *arguments]
        child = subprocess.Popen(
            command, env=environment(self.folder, **more), stdout=log, stderr=log, preexec_fn=dies_with_us
        )
        self.started.append(child)
        return child

    def master(self):
        where = ["--host", "127.0.0.1", "--port", str(self.port), "--webui-port", "0"]
        return self.start("master", MASTER, *where)

    def worker(self, name, **more):
        where = ["--host", "127.0.0.1", "--webui-port", "0", "-c", "1", "-m", "1g"]
        return self.start(name, WORKER, *where, self.url, **more)

    def registered(self, n_workers):
        log = self.folder / "master.log"
        until(lambda: log.is_file() and log.read_text().count("Registering worker") >= n_workers)

    def job(self, script, out, command):
        log = open(self.folder / f"{out}.log", "wb")
        return subprocess.Popen(
            [sys.executable, script, self.url, "in.ndjson", out, str(N_PARTS), *command],
            cwd=self.folder,
            env=environment(self.folder, PYSPARK_SUBMIT_ARGS="--driver-memory 512m --conf spark.executor.memory=512m pyspark-shell"),
            stdout=subprocess.PIPE,
            stderr=log,
            preexec_fn=dies_with_us,
        )

    def ended(self, job, out):
        said, _ = job.communicate(timeout=LONGEST)
        return {
            "status": job.returncode,
            "said": said.decode(),
            "success": (self.folder / out / "_SUCCESS").exists(),
            "log": (self.folder / f"{out}.log").read_text(errors="replace")[-20_000:],
        }


def until(it_is_so):
    end = time.monotonic() + LONGEST
    while not it_is_so():
        if time.monotonic() > end:
            raise TimeoutError("Spark did not come so far")
        time.sleep(0.05)


def children(process):
    with contextlib.suppress(FileNotFoundError):
        threads = Path(f"/proc/{process}/task").iterdir()
        return [int(it) for thread in threads for it in (thread / "children").read_text().split()]
    return []


def descendants(process):
    found = children(process)
    return found + [it for child in found for it in descendants(child)]


def kill(*processes):
    for it in processes:
        with contextlib.suppress(ProcessLookupError):
            os.kill(it, signal.SIGKILL)


def executors(process):
    def is_one(it):
        with contextlib.suppress(FileNotFoundError):
            return b"CoarseGrainedExecutorBackend" in Path(f"/proc/{it}/cmdline").read_bytes()
        return False

    return [it for it in descendants(process) if is_one(it)]


def main(script, folder, other_rules, *command):
    folder = Path(folder)
    cluster, told = Cluster(folder), {}
    try:
        cluster.master()
        first, second = cluster.worker("first"), cluster.worker("second")
        cluster.registered(2)

        job = cluster.job(script, "killed", [*SLOWLY, *command])
        until(lambda: any((folder / "killed/_temporary/0").glob("task_*")))
        until(lambda: len(descendants(second.pid)) > len(executors(second.pid)) > 0)
        killed = executors(second.pid)
        kill(second.pid, *killed)
        n_done = len(list((folder / "killed/_temporary/0").glob("task_*")))
        told["killed"] = cluster.ended(job, "killed") | {"executors": len(killed), "done_before": n_done}

        kill(first.pid, *executors(first.pid))
        cluster.worker("third", PREBLOCK_RULES=other_rules)
        cluster.registered(3)
        told["other_rules"] = cluster.ended(cluster.job(script, "other_rules", command), "other_rules")

        told["drops_a_line"] = cluster.ended(cluster.job(script, "drops_a_line", ["head", "-n", "-1"]), "drops_a_line")
    finally:
        kill(*descendants(os.getpid()))
    json.dump(told, sys.stdout)


if __name__ == "__main__":
    main(*sys.argv[1:])
