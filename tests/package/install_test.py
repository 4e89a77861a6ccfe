#!/usr/bin/env python3
"""What `cmake --install` puts where, that version and changelog agree, and that a new commit compiles one source.

Usage: install_test.py SOURCE-FOLDER BUILD-FOLDER FOREWARM"""
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import unittest

SOURCE, BUILD, PROGRAM = (pathlib.Path(name).resolve() for name in sys.argv[1:4])
VERSION = re.search(r"project\(forewarm VERSION (\S+)", (SOURCE / "CMakeLists.txt").read_text())[1]


def said(*command, **more):
    return subprocess.run(list(map(str, command)), check=True, capture_output=True, text=True, **more).stdout


class Installed(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(tempfile.mkdtemp())
        self.addCleanup(shutil.rmtree, self.folder)

    def test_each_file_has_its_place(self):
        said("cmake", "--install", BUILD, "--prefix", self.folder)
        held = {str(path.relative_to(self.folder)) for path in self.folder.rglob("*") if path.is_file()}
        doc = "share/doc/forewarm"
        expected = {"bin/forewarm", f"{doc}/LICENSE", f"{doc}/changelog", f"{doc}/README.md", f"{doc}/examples/default.toml",
                    f"{doc}/examples/demo.toml", f"{doc}/fixtures/timeline.svg", f"{doc}/src/rules/machines.md",
                    f"{doc}/src/cli/troubleshooting.md", "share/man/man1/forewarm.1", "share/man/man1/forewarm-rewrite.1",
                    "share/man/man5/forewarm-rules.5", "share/bash-completion/completions/forewarm",
                    "share/zsh/site-functions/_forewarm", "share/fish/vendor_completions.d/forewarm.fish"}
        self.assertEqual(expected - held, set())
        # Nothing strays: what is besides lies in folders of ours.
        places = ("share/man/man1/forewarm-", f"{doc}/compiled-in/", f"{doc}/src/", "share/forewarm/")
        self.assertEqual([name for name in sorted(held - expected) if not name.startswith(places)], [])
        self.assertEqual(said(self.folder / "bin/forewarm", "--version"), said(PROGRAM, "--version"))

    def test_the_version_is_that_of_the_newest_entry_of_the_changelog(self):
        newest = (SOURCE / "config/changelog").read_text().splitlines()[0]
        self.assertEqual(newest, f"forewarm ({VERSION}) unstable; urgency=medium")

    def test_version_says_what_the_program_is(self):
        lines = said(PROGRAM, "--version").splitlines()
        self.assertEqual(lines[0], f"forewarm {VERSION}")
        self.assertRegex(lines[1], r"^commit: ([0-9a-f]{12}(\+changes)?|unknown)$")
        self.assertRegex(lines[2], r"^built: \S+ [\d.]+ for \S+ \S+, linked (statically|dynamically)(, with sanitizers)?$")
        self.assertRegex(lines[3], r"^libraries: CLI11 [\d.]+, fmt [\d.]+, .*toml\+\+ [\d.]+")
        self.assertEqual(len(lines), 4)


class Commit(unittest.TestCase):
    """The source that says the commit, as src/cli/commit.cmake writes it."""

    def setUp(self):
        self.folder = pathlib.Path(tempfile.mkdtemp())
        self.addCleanup(shutil.rmtree, self.folder)
        self.script = self.folder / "commit.cmake"
        shutil.copy(SOURCE / "src/cli/commit.cmake", self.script)
        self.out = self.folder / "commit.cpp"
        self.tree = self.folder / "tree"
        self.tree.mkdir()

    def commit(self, given=""):
        said("cmake", f"-DSOURCE={self.tree}", f"-DCOMMIT={given}", f"-DTO={self.out}", "-P", self.script)
        return re.search(r'kCommit = "(.*)"', self.out.read_text())[1]

    def git(self, *command):
        return said("git", "-C", self.tree, "-c", "user.name=nobody", "-c", "user.email=nobody@example.org", *command)

    def repository(self):
        self.git("init", "-q")
        (self.tree / "file").write_text("one\n")
        self.git("add", ".")
        self.git("commit", "-q", "-m", "one")
        return self.git("rev-parse", "--short=12", "HEAD").strip()

    def test_in_no_repository(self):
        self.assertEqual(self.commit(), "unknown")

    def test_in_a_folder_of_a_repository_that_is_not_ours(self):
        self.repository()
        self.tree = self.tree / "within"
        self.tree.mkdir()
        self.assertEqual(self.commit(), "unknown")

    def test_in_a_repository_with_and_without_a_tag_and_a_change(self):
        commit = self.repository()
        self.assertEqual(self.commit(), commit)
        self.git("tag", "v9")
        self.assertEqual(self.commit(), commit)
        (self.tree / "file").write_text("two\n")
        self.assertEqual(self.commit(), commit + "+changes")

    def test_in_a_repository_without_a_commit(self):
        self.git("init", "-q")
        self.assertEqual(self.commit(), "unknown")

    def test_of_an_archive(self):
        text = self.script.read_text()
        self.assertIn('"$Format:%H$"', text)
        self.script.write_text(text.replace("$Format:%H$", "0123456789abcdef0123456789abcdef01234567"))
        self.assertEqual(self.commit(), "0123456789ab")
        self.assertIn("src/cli/commit.cmake export-subst", (SOURCE / ".gitattributes").read_text())

    def test_a_given_one_comes_first_and_a_wrong_one_is_unknown(self):
        self.repository()
        self.assertEqual(self.commit("release-1"), "release-1")
        self.assertEqual(self.commit('"; system("true'), "unknown")

    def test_what_says_so_already_is_left_alone(self):
        self.commit("a")
        before = self.out.stat().st_mtime_ns
        self.commit("a")
        self.assertEqual(self.out.stat().st_mtime_ns, before)
        self.commit("b")
        self.assertNotEqual(self.out.stat().st_mtime_ns, before)


if __name__ == "__main__":
    unittest.main(argv=sys.argv[:1])
