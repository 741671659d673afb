"""Sends the lines of a file through a command on a Spark cluster, and holds the answers to the lines.

    spark_pipe.py MASTER IN OUT PARTS COMMAND...

IN is a file and OUT a folder that is not there yet, both under the same path on every machine. OUT/part-00000 and so on,
one after the other, answer IN line by line. The command is not given to a shell.

It ends with 0 only if the command ended with 0 on every part and each line has one answer with its reference. Then it
prints how many lines that were, and the SHA-256 of all answers in order: the one that a single process comes to, if the
command is `preblock batch`, whose line numbers begin anew in each part. OUT/_SUCCESS says that Spark came to the end.
"""

import hashlib
import json
import os
import re
import sys
from pathlib import Path

from pyspark.sql import SparkSession


def sound(path):
    """Why Spark would change the lines of a file, if it would."""
    line = b"\n"
    with open(path, "rb") as lines:
        for number, line in enumerate(lines, 1):
            try:
                line.decode()
            except UnicodeDecodeError:
                # Hadoop puts another character there, and the command would never know.
                return f"line {number} is not UTF-8"
    return None if line.endswith(b"\n") else "the last line has no end: was it cut off?"


def reference(line):
    try:
        return json.loads(line)["reference"]
    except (ValueError, TypeError, KeyError):
        return None


def numbered(answer, number):
    """An answer of `preblock batch`, which counts the lines of its part, with the number of its line in the whole file."""
    begin = re.match(rb'\{"line":(\d+)', answer)
    # It is told in what is wrong, too, and there in words as well: `line 7` is empty.
    return re.sub(rb'("line":|`line )%b\b' % begin[1], rb"\g<1>%d" % number, answer) if begin else answer


def answers(folder):
    """The lines of all parts, in order."""
    for part in sorted(Path(folder).glob("part-*"), key=lambda it: (len(it.name), it.name)):
        with open(part, "rb") as lines:
            yield from lines


def compared(source, folder):
    """How many lines were answered, and the digest of the answers. Ends the program if these are not the answers."""
    digest, n_answered, told = hashlib.sha256(), 0, answers(folder)
    with open(source, "rb") as lines:
        for n_answered, line in enumerate(lines, 1):
            answer = next(told, None)
            if answer is None:
                sys.exit(f"line {n_answered} of {source} has no answer")
            # What was refused may have no reference that can be read.
            if reference(answer) not in (reference(line), None):
                sys.exit(f"line {n_answered} of {source} has the answer to another: {answer[:200]!r}")
            digest.update(numbered(answer, n_answered))
    if next(told, None) is not None:
        sys.exit(f"there are more answers than the {n_answered} lines of {source}")
    return n_answered, digest.hexdigest()


def main(master, source, folder, parts, *command):
    source, folder = os.path.abspath(source), os.path.abspath(folder)
    if why := sound(source):
        sys.exit(f"{source}: {why}")
    spark = (
        SparkSession.builder.master(master)
        .appName("screening")
        .config("spark.ui.enabled", "false")
        # A carriage return ends no line here either: the command has to answer for it.
        .config("spark.hadoop.textinputformat.record.delimiter", "\n")
        # A part is there whole, once, when the whole job is done: the second version shows parts of a job that failed.
        .config("spark.hadoop.mapreduce.fileoutputcommitter.algorithm.version", "1")
        .getOrCreate()
    )
    try:
        java = spark.sparkContext._jvm.java.util
        words = java.ArrayList()
        for word in command:
            words.add(word)
        lines = spark.sparkContext._jsc.textFile(f"file://{source}", int(parts))
        # The pipe of Spark itself: Python's takes a command that failed for one that had nothing to say. Named, since Java 17
        # otherwise takes the encoding of whoever started the worker.
        piped = lines.pipe(words, java.HashMap(), False, 1 << 16, "UTF-8")
        # Ends the task, and so the job, where a part has more or fewer answers than lines.
        lines.zip(piped).values().saveAsTextFile(f"file://{folder}")
    finally:
        spark.stop()
    n_lines, digest = compared(source, folder)
    print(f"{n_lines} lines answered, sha256 {digest}")


if __name__ == "__main__":
    if len(sys.argv) < 6:
        sys.exit(__doc__)
    main(*sys.argv[1:])
