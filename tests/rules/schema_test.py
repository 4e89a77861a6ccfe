#!/usr/bin/python3
"""`forewarm rules schema` against python3-jsonschema: for every rule file of the sources, and for each
of these with one value made wrong, the schema accepts what `rules check` accepts, and refuses what
is of another type, out of range, unknown or missing.

It runs by Debian's Python, to which Debian's jsonschema belongs. What must hold between keys is no
business of the schema. Usage: schema_test.py FOREWARM SOURCES. Exit 77, which ctest takes for
skipped, without jsonschema."""
import copy
import json
import pathlib
import re
import subprocess
import sys
import tempfile
import tomllib

SKIPPED = 77
try:
    import jsonschema
except ImportError:
    print("skipped: there is no jsonschema; scripts/setup --tests installs it")
    sys.exit(SKIPPED)

# What `rules check` says of one key alone.
OF_ONE_KEY = re.compile(
    r"must be (a |an |from |at least|more than|over |finite|true|1, not)|unknown key|unknown [a-z_]+ \"|"
    r" needs \"|must not be empty|must not contain|must hold tables|must name at least one|is listed twice|"
    r"has at least one \[\[toolhead\]\]")
# ... and what depends on others, or that a schema cannot say.
NOT_OF_ONE_KEY = re.compile(
    r"must be more than machine|must be over 0 where|must go from lower|must contain|"
    r"is outside machine|does not compile|name of a (material|step)")

program, sources = sys.argv[1], pathlib.Path(sys.argv[2])
schema = json.loads(subprocess.run([program, "rules", "schema"], capture_output=True, check=True).stdout)
jsonschema.Draft202012Validator.check_schema(schema)
validator = jsonschema.Draft202012Validator(schema)
failures, counts = [], {"accepted": 0, "refused": 0, "left": 0}


def said(path):
    """What `rules check` says against the file; empty: nothing."""
    run = subprocess.run([program, "rules", "check", "-q", path], capture_output=True)
    return "" if run.returncode == 0 else run.stderr.decode(errors="replace")


def hold(name, path, document):
    against = said(path)
    accepted = validator.is_valid(document)
    if not against:
        counts["accepted"] += 1
        if not accepted:
            failures.append(f"{name}: accepted by rules check, but the schema says: "
                            f"{next(validator.iter_errors(document)).message[:200]}")
    elif OF_ONE_KEY.search(against) and not NOT_OF_ONE_KEY.search(against):
        counts["refused"] += 1
        if accepted:
            failures.append(f"{name}: the schema accepts it, but rules check says: {against[:300]}")
    else:
        counts["left"] += 1


def written(value):
    """A value as inline TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(k)} = {written(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(written(v) for v in value) + "]"
    return json.dumps(value) if isinstance(value, str) else repr(value)


def places(node, path=()):
    """The path of each value in a document."""
    for key, value in node.items() if isinstance(node, dict) else enumerate(node):
        yield path + (key,)
        if isinstance(value, (dict, list)):
            yield from places(value, path + (key,))


def at(document, path):
    for key in path:
        document = document[key]
    return document


def changed(document, path, value):
    out = copy.deepcopy(document)
    at(out, path[:-1])[path[-1]] = value
    return out


def mutations(document):
    for path in places(document):
        value = at(document, path)
        for other in ("x", 7.5, -1e12, 1e12, True, {}, [1], [0, 0]):
            if type(other) is not type(value) or other != value:
                yield path, changed(document, path, other)
        if isinstance(value, dict):
            yield path, changed(document, path, value | {"zz_unknown": 1})
            for key in value:
                yield path, changed(document, path, {k: v for k, v in value.items() if k != key})
    yield (), document | {"zz_unknown": 1}
    for key in document:
        yield (key,), {k: v for k, v in document.items() if k != key}


files = sorted(p for folder in ("config", "tests") for p in (sources / folder).rglob("*.toml"))
assert len(files) > 20, "the sources have rule files"
documents = []
for file in files:
    try:
        document = tomllib.loads(file.read_bytes().decode())
    except (tomllib.TOMLDecodeError, UnicodeDecodeError):
        continue
    hold(file.relative_to(sources), file, document)
    if not said(file):
        documents.append((file, document))

with tempfile.TemporaryDirectory() as folder:
    path = pathlib.Path(folder, "rules.toml")
    # Every value of the complete example, made wrong in each way.
    demo = next(d for f, d in documents if f.name == "demo.toml")
    for where, document in mutations(demo):
        path.write_text("\n".join(f"{json.dumps(k)} = {written(v)}" for k, v in document.items()) + "\n")
        document = tomllib.loads(path.read_text())
        hold(f"demo.toml, {where} = {str(at(document, where) if where in set(places(document)) else None)[:60]}",
             path, document)

print(f"{len(files)} files; {counts['accepted']} accepted and {counts['refused']} refused by both asked; "
      f"{counts['left']} refused for what is between keys")
assert counts["accepted"] > 20 and counts["refused"] > 500, counts
for failure in failures[:40]:
    print(failure)
sys.exit(1 if failures else 0)
