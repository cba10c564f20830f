"""Runs scripts of tests/ for one test program, each in a process of its own that is forked
from this one, so that large libraries are loaded once and not once a script.

    python serve.py SOCKET

SOCKET is made, alone in a folder; both are taken away at the end. Each connection to
it asks for one script with a line of JSON, {"script": path, "arguments": [...],
"input": text}, and is answered with another, {"status": exit code, "out": what it printed,
"err": what it complained of}. It ends when its standard input does, with the test program.

Before a script runs for the first time, what it imports at its top level from outside of
Python's own library and its own folder is imported here. What cannot be imported is left
to the script to complain of."""

import ast
import atexit
import importlib
import io
import json
import os
import runpy
import select
import signal
import socket
import sys
import tempfile
import traceback
import warnings

loaded = set()


def load_for(script):
    """Imports what the script and the files beside it that it imports will ask for."""
    if script in loaded:
        return
    loaded.add(script)
    folder = os.path.dirname(script)
    try:
        with open(script, encoding="utf-8") as file:
            tree = ast.parse(file.read())
    except (OSError, SyntaxError):
        return
    names = []
    for node in tree.body:
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names.append(node.module)
            names += [f"{node.module}.{alias.name}" for alias in node.names]
    for name in names:
        root = name.partition(".")[0]
        beside = os.path.join(folder, f"{root}.py")
        if os.path.exists(beside):
            load_for(beside)
        elif root not in sys.stdlib_module_names:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                try:
                    importlib.import_module(name)
                # Not there, or no module but something in one.
                except ImportError:
                    pass


def run(script, arguments, streams):
    """As `python SCRIPT ARGUMENTS` would; gives the exit code. In a process of its own."""
    for number, stream in enumerate(streams):
        os.dup2(stream.fileno(), number)
    sys.stdin, sys.stdout, sys.stderr = (
        io.TextIOWrapper(os.fdopen(number, "rb" if number == 0 else "wb"), encoding="utf-8", write_through=number == 2)
        for number in range(3)
    )
    sys.argv = [script, *arguments]
    sys.path[0] = os.path.dirname(script)
    code = 0
    try:
        runpy.run_path(script, run_name="__main__")
    except SystemExit as end:
        code = end.code
        if code is None:
            code = 0
        elif not isinstance(code, int):
            print(code, file=sys.stderr)
            code = 1
    except BaseException:
        traceback.print_exc()
        code = 1
    try:
        atexit._run_exitfuncs()
        sys.stdout.flush()
        sys.stderr.flush()
    except BaseException:
        traceback.print_exc()
        code = code or 1
    return code


def answer(asked):
    """Runs what is asked for and gives the answer."""
    with tempfile.TemporaryFile() as given, tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        given.write(asked["input"].encode())
        given.seek(0)
        child = os.fork()
        if child == 0:
            code = 1
            try:
                code = run(asked["script"], asked["arguments"], [given, out, err])
            finally:
                os._exit(code)
        _, status = os.waitpid(child, 0)
        texts = []
        for stream in (out, err):
            stream.seek(0)
            texts.append(stream.read().decode(errors="replace"))
        return {"status": os.waitstatus_to_exitcode(status), "out": texts[0], "err": texts[1]}


def main():
    listening = socket.socket(socket.AF_UNIX)
    listening.bind(sys.argv[1])
    listening.listen(16)
    # Bound and listening: whoever waits may connect.
    print("ready", flush=True)
    # Who has answered is not waited for.
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    while True:
        ready, _, _ = select.select([listening, sys.stdin], [], [])
        if sys.stdin in ready:
            os.unlink(sys.argv[1])
            os.rmdir(os.path.dirname(sys.argv[1]))
            return
        connection, _ = listening.accept()
        with connection, connection.makefile("rw", encoding="utf-8") as both:
            line = both.readline()
            if not line:
                continue
            asked = json.loads(line)
            load_for(asked["script"])
            if os.fork() == 0:
                listening.close()
                signal.signal(signal.SIGCHLD, signal.SIG_DFL)
                json.dump(answer(asked), both)
                both.write("\n")
                both.flush()
                os._exit(0)


main()
