#!/usr/bin/env python3
"""What git asks before a commit, once `scripts/setup --hooks` was called: on a small repository of its own.

Usage: pre_commit_test.py SOURCE-FOLDER. Exit 77, which ctest takes for skipped, where git or what it calls is not
installed."""
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
import unittest

SOURCE = pathlib.Path(sys.argv[1]).resolve()
TOP = ["CMakeLists.txt", "DEVELOPERS.md", "README.md", ".clang-format", "scripts/setup", "scripts/pre_commit", "tests/structure/check_structure"]
PROGRAMS = ["git", "clang-format-14", "shellcheck"]
GOOD = "// What it is for.\n#pragma once\nint one();\n"


class PreCommit(unittest.TestCase):
    def setUp(self):
        self.tree = pathlib.Path(tempfile.mkdtemp())
        self.addCleanup(shutil.rmtree, self.tree)
        for name in TOP:
            (self.tree / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(SOURCE / name, self.tree / name)
        for name in ("config", "fixtures", "src/base"):
            (self.tree / name).mkdir(parents=True)
            (self.tree / name / "CMakeLists.txt").touch()
        self.git("init", "-q")
        self.commits()  # the hook is not there yet
        self.set_up()

    def git(self, *command, code=0):
        mine = {name: value for name, value in os.environ.items() if not name.startswith("GIT_")}
        done = subprocess.run(["git", "-c", "user.name=nobody", "-c", "user.email=nobody@example.org", *command], cwd=self.tree,
                              capture_output=True, text=True, env=mine)
        self.assertEqual(done.returncode, code, done.stdout + done.stderr)
        return done.stdout + done.stderr

    def set_up(self, code=0):
        done = subprocess.run([self.tree / "scripts/setup", "--hooks"], capture_output=True, text=True)
        self.assertEqual(done.returncode, code, done.stderr)
        return done.stdout + done.stderr

    def write(self, name, text):
        (self.tree / name).write_text(text)

    def commits(self):
        self.git("add", "-A")
        return self.git("commit", "-q", "-m", "a change")

    def refuses(self, says):
        self.git("add", "-A")
        self.assertIn(says, self.git("commit", "-q", "-m", "a change", code=1))

    def test_a_good_change(self):
        self.write("src/base/one.h", GOOD)
        self.write("scripts/say", "#!/bin/sh\necho one\n")
        self.commits()

    def test_a_file_that_is_taken_away(self):
        self.write("src/base/one.h", GOOD)
        self.commits()
        (self.tree / "src/base/one.h").unlink()
        self.commits()

    def test_format(self):
        self.write("src/base/one.h", GOOD.replace("int one", "int   one"))
        self.refuses("one.h:3:4: error: code should be clang-formatted")

    def test_shell_scripts(self):
        self.write("scripts/say", "#!/bin/sh\ncd $1\n")
        self.refuses("SC2086")

    def test_structure(self):
        self.write("src/base/one.h", '// What it is for.\n#include "plan/plan.h"\n')
        self.refuses("src/base/one.h:2: base/ may not include plan/")

    def test_what_is_staged_counts_and_not_what_lies_there(self):
        self.write("src/base/one.h", GOOD)
        self.git("add", "-A")
        self.write("src/base/one.h", GOOD + "int    two();\n")
        self.git("commit", "-q", "-m", "a change")
        self.assertIn("two", self.git("diff"))

    def test_files_of_strange_names(self):
        self.write("src/base/on e\t.h", GOOD.replace("int one", "int   one"))
        self.refuses("code should be clang-formatted")

    def test_set_up_twice_and_beside_a_hook_of_another(self):
        self.set_up()
        self.write(".git/hooks/pre-commit", "#!/bin/sh\n# another's\n")
        self.assertIn("pre-commit is there already, and is not ours", self.set_up(code=1))
        self.assertIn("another's", (self.tree / ".git/hooks/pre-commit").read_text())


if __name__ == "__main__":
    missing = [program for program in PROGRAMS if not shutil.which(program)]
    if missing:
        print("skipped: no", " ".join(missing), "here; scripts/setup --lint installs what is missing")
        sys.exit(77)
    unittest.main(argv=sys.argv[:1])
