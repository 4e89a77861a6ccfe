#!/usr/bin/env python3
"""What each shell offers after `forewarm`, asked of the shell itself.

Usage: completions_test.py FOLDER-OF-COMPLETIONS"""
import os
import pathlib
import pty
import select
import shutil
import subprocess
import sys
import tempfile
import unittest

FOLDER = pathlib.Path(sys.argv[1]).resolve()


class Shell:
    """What all shells are asked. offered(LINE) is the set of words offered at the end of LINE."""

    def setUp(self):
        if shutil.which(self.name) is None:
            self.skipTest(f"{self.name} is not installed")
        self.folder = pathlib.Path(tempfile.mkdtemp())
        self.addCleanup(shutil.rmtree, self.folder)
        for name in ("job one.gcode", "machine.toml"):
            (self.folder / name).write_text("")
        (self.folder / "ready").mkdir()
        self.env = {"PATH": os.environ["PATH"], "HOME": str(self.folder), "LC_ALL": "C.UTF-8",
                    "TERM": "dumb"}

    def test_commands(self):
        self.assertEqual(self.offered("forewarm re"), {"rewrite", "restore", "review"})
        self.assertEqual(self.offered("forewarm rew"), {"rewrite"})

    def test_commands_of_a_command(self):
        self.assertLessEqual({"check", "new"}, self.offered("forewarm rules "))
        self.assertEqual(self.offered("forewarm rules c"), {"check"})
        # "rules check" is not "check".
        self.assertNotIn("--explain", self.offered("forewarm rules check --"))

    def test_options(self):
        self.assertEqual(self.offered("forewarm rewrite --dr"), {"--dry-run"})
        self.assertEqual(self.offered("forewarm forecast --aw"), {"--away"})
        self.assertEqual(self.offered("forewarm forecast --dr"), set())
        self.assertIn("--rules", self.offered("forewarm rules check --"))

    def test_choices(self):
        self.assertEqual(self.offered("forewarm assign --by "), {"time", "purge"})
        self.assertEqual(self.offered("forewarm rewrite --color a"), {"auto", "always"})

    def test_choices_after_an_equals_sign(self):
        self.assertEqual(self.offered("forewarm assign --by=pu"), {"purge"})

    def test_files(self):
        self.assertEqual(self.offered("forewarm rewrite ma"), {"machine.toml"})
        self.assertEqual(self.offered("forewarm rewrite job"), {"job one.gcode"})
        self.assertEqual(self.offered("forewarm rewrite --rules ma"), {"machine.toml"})

    def test_folders(self):
        self.assertEqual(self.offered("forewarm batch -o "), {"ready"})

    def test_numbers_to_sweep(self):
        offered = self.offered("forewarm compare --sweep ")
        self.assertIn("off_over_s=", offered)
        self.assertNotIn("policy=", offered)  # no number
        self.assertEqual(self.offered("forewarm compare --sweep hold_"), {"hold_drop_c="})

    def test_keys_to_set(self):
        if "--set" not in self.offered("forewarm rewrite --se"):
            self.skipTest("no command has --set")
        line = "forewarm rewrite --set "
        self.assertEqual(self.offered(line + "gap.hold_"), {"gap.hold_drop_c="})
        self.assertEqual(self.offered(line + "toolh"), {"toolhead."})
        self.assertEqual(self.offered(line + "toolhead.birch.park_s"), {"toolhead.birch.park_s="})
        self.assertEqual(self.offered(line + "toolhead.birch.heater.power"),
                         {"toolhead.birch.heater.power_w="})
        self.assertEqual(self.offered(line + "filament.T3.standby"), {"filament.T3.standby_c="})

    def test_findings(self):
        self.assertEqual(self.offered("forewarm check --explain preheat-"),
                         {"preheat-early", "preheat-late"})

    def test_words_to_explain(self):
        self.assertEqual(self.offered("forewarm explain hot-idle-b"), {"hot-idle-bound"})
        self.assertIn("hot-idle", self.offered("forewarm explain hot-"))
        self.assertIn("off_over_s", self.offered("forewarm explain off_"))

    def test_commands_to_help_with(self):
        self.assertEqual(self.offered("forewarm help calib"), {"calibrate"})
        self.assertLessEqual({"help", "rules"}, self.offered("forewarm help "))
        self.assertEqual(self.offered("forewarm help rules "), {"check", "new", "schema"})


class Bash(Shell, unittest.TestCase):
    name = "bash"
    # Drives the function as readline does, which splits words at = as well.
    HARNESS = r"""
    source "$1/forewarm.bash"
    line=$2
    COMP_WORDS=()
    for word in $line; do
      while [[ $word == *=* ]]; do COMP_WORDS+=("${word%%=*}" "="); word=${word#*=}; done
      [[ -z $word ]] || COMP_WORDS+=("$word")
    done
    [[ $line == *" " ]] && COMP_WORDS+=("")
    COMP_CWORD=$(( ${#COMP_WORDS[@]} - 1 ))
    COMP_LINE=$line COMP_POINT=${#line}
    [[ $(complete -p forewarm) == "complete -F _forewarm forewarm" ]] || exit 1
    _forewarm
    for word in "${COMPREPLY[@]}"; do printf '%s\n' "$word"; done
    """

    def offered(self, line):
        r = subprocess.run(["bash", "--norc", "-c", self.HARNESS, "bash", str(FOLDER), line],
                           cwd=self.folder, env=self.env, capture_output=True, text=True,
                           timeout=60)
        self.assertEqual((r.returncode, r.stderr), (0, ""))
        return set(r.stdout.splitlines())


class Fish(Shell, unittest.TestCase):
    name = "fish"

    def offered(self, line):
        command = f"source {FOLDER}/forewarm.fish; complete -C '{line}'"
        r = subprocess.run(["fish", "--no-config", "-c", command], cwd=self.folder, env=self.env,
                           capture_output=True, text=True, timeout=60)
        self.assertEqual((r.returncode, r.stderr), (0, ""))
        words = set()
        for row in r.stdout.splitlines():
            word = row.split("\t")[0].replace("\\ ", " ").rstrip("/")
            # A value is offered with its option.
            words.add(word.split("=", 1)[1] if line.split(" ")[-1].startswith("--")
                      and "=" in word and "=" in line else word)
        return words


class Zsh(Shell, unittest.TestCase):
    name = "zsh"
    # compadd is replaced by one that says what matches, as the menu on a terminal cannot be read.
    SETUP = r"""
    PS1=; unsetopt zle_bracketed_paste; stty -echo
    fpath=(FOLDER $fpath); autoload -Uz compinit; compinit -u -D
    compadd() {
      local -a found
      [[ ${@[(ie)-O]} -le $# || ${@[(ie)-D]} -le $# || ${@[(ie)-A]} -le $# ]] ||
        { builtin compadd -O found "$@"; for word in $found; do print -r -- "OFFERED:$word"; done }
      builtin compadd "$@"
    }
    zle -C offers list-choices _main_complete
    show() { zle offers; print; print -r -- "END:"; zle kill-whole-line }
    zle -N show; bindkey '^X' show; print -r -- "READY:"
    """

    def setUp(self):
        super().setUp()
        self.pid, self.fd = pty.fork()
        if self.pid == 0:
            os.chdir(self.folder)
            os.execvpe("zsh", ["zsh", "-f", "-i"], self.env)
        self.addCleanup(self.end)
        setup = self.folder / ".setup"
        setup.write_text(self.SETUP.replace("FOLDER", str(FOLDER), 1))
        os.write(self.fd, f"source {setup}\n".encode())
        self.read_until("READY:\r\n")

    def end(self):
        os.close(self.fd)
        os.waitpid(self.pid, 0)

    def read_until(self, what):
        text = ""
        while what not in text:
            ready, _, _ = select.select([self.fd], [], [], 60)
            self.assertTrue(ready, text)
            text += os.read(self.fd, 65536).decode()
        return text

    def offered(self, line):
        os.write(self.fd, line.encode() + b"\x18")
        words = set()
        for row in self.read_until("END:").replace("\r", "\n").split("\n"):
            if "OFFERED:" in row:
                words.add(row.split("OFFERED:", 1)[1].strip().replace("\\ ", " "))
        return words


if __name__ == "__main__":
    unittest.main(argv=sys.argv[:1], verbosity=2)
