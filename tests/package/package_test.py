#!/usr/bin/env python3
"""What scripts/package makes: the same bytes from two folders, a .deb that lintian finds nothing wrong with, that
installs, runs and goes away without a trace in a clean root, and a program that runs where there is nothing else.

Usage: package_test.py SOURCE-FOLDER SCRATCH-FOLDER [N]. Exit 77, which ctest takes for skipped, where it cannot be
packed at all; what needs root or a mirror of Debian is skipped with a word of its own.

To compile all of it twice takes minutes. So ccache may give the second folder what the first had compiled; then each
Nth object (12th by default; 1: all of them) is compiled there once more, without ccache, before the two are compared."""
import contextlib
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import unittest

SOURCE, SCRATCH = (pathlib.Path(name).resolve() for name in sys.argv[1:3])
EACH = int(sys.argv[3]) if len(sys.argv) > 3 else 12
PARTS = ["CMakeLists.txt", "README.md", "config", "scripts", "fixtures", "src"]
ROOT = os.geteuid() == 0
TOOLS = ["cmake", "ninja", "cpack", "dpkg-shlibdeps", "dpkg-deb", "lintian", "file", "readelf", "objdump", "strip"]
# What a processor of 2003 has not: registers of 256 and 512 bits, and their masks.
WIDE = re.compile(r"%[yz]mm\d|%k[1-7]\b")


def run(*command, code=0, **more):
    done = subprocess.run(list(map(str, command)), capture_output=True, text=True, **more)
    assert done.returncode == code, f"{command}: exit code {done.returncode}\n{done.stdout}{done.stderr}"
    return done.stdout


def copy_sources(folder):
    folder.mkdir(parents=True, exist_ok=True)
    for part in PARTS:
        shutil.rmtree(folder / part, ignore_errors=True)
        copy = shutil.copytree if (SOURCE / part).is_dir() else shutil.copyfile
        copy(SOURCE / part, folder / part)


def pack(folder, **environment):
    shared = {"CCACHE_DIR": os.environ.get("CCACHE_DIR", str(pathlib.Path.home() / ".cache/ccache")), "CCACHE_BASEDIR": str(folder)}
    run(folder / "scripts/package", "packages", cwd=folder, env=os.environ | shared | environment)


def only(folder, pattern):
    found = sorted(folder.glob(pattern))
    assert len(found) == 1, f"{pattern}: {found}"
    return found[0]


@contextlib.contextmanager
def clean_root():
    """Debian 12 with nothing but apt, where that can be had."""
    if not ROOT or not shutil.which("mmdebstrap"):
        raise unittest.SkipTest("no clean root: not root, or no mmdebstrap")
    with tempfile.TemporaryDirectory(prefix="forewarm-root-") as name:
        root = pathlib.Path(name) / "root"
        made = subprocess.run(["mmdebstrap", "--quiet", "--mode=root", "--variant=apt", "--dpkgopt=force-unsafe-io",
                               "--dpkgopt=path-exclude=/usr/share/locale/*", "--skip=cleanup/apt/lists", "bookworm", root],
                              capture_output=True, text=True)
        if made.returncode != 0:
            raise unittest.SkipTest("no clean root: mmdebstrap says " + made.stderr.strip()[-300:])
        shutil.copy("/etc/resolv.conf", root / "etc/resolv.conf")
        yield root


def in_root(root, *command, code=0):
    return run("chroot", root, *command, code=code,
               env={"PATH": "/usr/sbin:/usr/bin:/sbin:/bin", "DEBIAN_FRONTEND": "noninteractive", "HOME": "/root"})


def files_of(root):
    # What apt and dpkg remember, and what ldconfig does, is theirs.
    theirs = ("var/lib/dpkg", "var/lib/apt", "var/cache", "var/log", "etc/ld.so.cache", "tmp", "proc", "sys", "dev")
    return {str(path.relative_to(root)) for path in root.rglob("*") if not str(path.relative_to(root)).startswith(theirs)}


class Packages(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.one, cls.other = SCRATCH / "one", SCRATCH / "another/of-another-length"
        copy_sources(cls.one)
        (cls.one / "packages").mkdir(exist_ok=True)
        (cls.one / "packages/forewarm_0.0.9_amd64.deb").write_text("an earlier package\n")
        (cls.one / "packages/notes.txt").write_text("not ours\n")
        pack(cls.one, HOME="/nonexistent")
        copy_sources(cls.other)
        elsewhere = {"TZ": "Asia/Tokyo", "LC_ALL": "C.UTF-8", "SOURCE_DATE_EPOCH": "1"}
        pack(cls.other, **elsewhere)
        for compiled in sorted((cls.other / "build-package").rglob("*.o"))[::EACH]:
            compiled.unlink()
        pack(cls.other, CCACHE_DISABLE="1", **elsewhere)
        cls.deb = only(cls.one / "packages", "*.deb")
        cls.tarball = only(cls.one / "packages", "*.tar.gz")

    def test_earlier_packages_are_replaced_and_nothing_else_in_the_folder(self):
        held = sorted(path.name for path in (self.one / "packages").iterdir())
        self.assertEqual(held, [self.tarball.name, self.deb.name, "notes.txt"])
        self.assertEqual((self.one / "packages/notes.txt").read_text(), "not ours\n")

    def test_the_same_bytes_from_two_folders(self):
        names = sorted(path.name for path in (self.other / "packages").iterdir())
        self.assertEqual(names, [self.tarball.name, self.deb.name])
        for name in ["build-package/forewarm", "build-package/forewarm-static", *(f"packages/{name}" for name in names)]:
            self.assertTrue((self.one / name).read_bytes() == (self.other / name).read_bytes(), name)
        for folder in (self.one, self.other):
            self.assertTrue(os.fsencode(folder) not in (folder / "build-package/forewarm-static").read_bytes(), folder)

    def test_lintian_finds_nothing(self):
        said = run("lintian", "--allow-root", "--fail-on", "warning,error", "--display-info", self.deb)
        print(f"lintian: {said.strip() or 'nothing'}")
        self.assertEqual([line for line in said.splitlines() if line[:2] in ("W:", "E:")], [])

    def test_dependencies(self):
        needs = run("dpkg-deb", "--field", self.deb, "Depends")
        self.assertRegex(needs, r"libc6 \(>= [\d.]+\)")
        self.assertIn("libre2-9", needs)
        self.assertIn("libxxhash0", needs)

    def test_what_is_in_the_package(self):
        held = run("dpkg-deb", "--contents", self.deb)
        for name in ("usr/bin/forewarm", "usr/share/doc/forewarm/copyright", "usr/share/doc/forewarm/changelog.gz",
                     "usr/share/man/man1/forewarm.1.gz", "usr/share/man/man1/forewarm-rewrite.1.gz", "usr/share/man/man5/forewarm-rules.5.gz",
                     "usr/share/bash-completion/completions/forewarm", "usr/share/zsh/vendor-completions/_forewarm",
                     "usr/share/fish/vendor_completions.d/forewarm.fish", "usr/share/doc/forewarm/README.md", "usr/share/doc/forewarm/examples/demo.toml"):
            self.assertRegex(held, rf"-rw[x-]r-[x-]r-[x-] root/root .* \./{name}\n")
        self.assertNotIn("site-functions", held)

    def test_installed_run_and_removed_in_a_clean_root(self):
        with clean_root() as root:
            before = files_of(root)
            shutil.copy(self.deb, root / "forewarm.deb")
            shutil.copy(SOURCE / "fixtures/trail_map.gcode", root / "job.gcode")
            in_root(root, "apt-get", "install", "-y", "-q", "--no-install-recommends", "/forewarm.deb")
            self.use(lambda *a, **more: in_root(root, "forewarm", *a, **more), root, "/usr/share/doc/forewarm/examples/demo.toml")
            in_root(root, "apt-get", "purge", "-y", "-q", "--autoremove", "forewarm")
            self.assertEqual(in_root(root, "sh", "-c", "command -v forewarm || true"), "")
            left = files_of(root) - before - {"forewarm.deb", "job.gcode", "rewritten.gcode", "restored.gcode"}
            self.assertEqual(left, set())

    def test_the_static_program_where_there_is_nothing_else(self):
        if not ROOT:
            self.skipTest("an empty root needs root")
        with tempfile.TemporaryDirectory(prefix="forewarm-empty-") as name:
            root = pathlib.Path(name)
            run("tar", "-xf", self.tarball, "-C", root, "--strip-components=1", "--no-same-owner")
            shutil.copy(root / "bin/forewarm", root / "forewarm")
            shutil.copy(root / "share/doc/forewarm/examples/demo.toml", root / "rules.toml")
            for folder in ("bin", "share"):
                shutil.rmtree(root / folder)
            shutil.copy(SOURCE / "fixtures/trail_map.gcode", root / "job.gcode")
            self.assertEqual(sorted(path.name for path in root.iterdir()), ["forewarm", "job.gcode", "rules.toml"])
            self.use(lambda *a, **more: in_root(root, "/forewarm", *a, **more), root, "/rules.toml")
            self.assertIn("linked statically", in_root(root, "/forewarm", "--version"))

    def use(self, forewarm, root, rules):
        version = re.search(r"project\(forewarm VERSION (\S+)", (SOURCE / "CMakeLists.txt").read_text())[1]
        self.assertEqual(forewarm("--version").splitlines()[0], f"forewarm {version}")
        forewarm("rewrite", "--rules", rules, "-o", "/rewritten.gcode", "/job.gcode")
        forewarm("check", "--rules", rules, "/job.gcode", "/rewritten.gcode")
        forewarm("restore", "-o", "/restored.gcode", "/rewritten.gcode")
        self.assertEqual((root / "restored.gcode").read_bytes(), (root / "job.gcode").read_bytes())
        self.assertNotEqual((root / "rewritten.gcode").read_bytes(), (root / "job.gcode").read_bytes())
        self.assertIn("lookahead", forewarm("forecast", "--rules", rules, "/job.gcode"))

    def test_the_static_program_asks_nothing_of_its_surroundings(self):
        program = self.one / "build-package/forewarm-static"
        self.assertIn("static-pie linked", run("file", program))
        headers = run("readelf", "--wide", "--program-headers", "--dynamic", "--notes", program)
        self.assertNotIn("INTERP", headers)
        self.assertNotIn("NEEDED", headers)
        kernel = re.search(r"OS: Linux, ABI: (\d+)\.(\d+)", headers)
        self.assertLessEqual((int(kernel[1]), int(kernel[2])), (4, 0))

    def test_our_own_objects_run_on_any_processor_of_the_kind(self):
        # Libraries ask the processor before they use more than all have; so do functions that are compiled several times.
        objects = sorted((self.one / "build-package/src").rglob("*.o"))
        self.assertGreater(len(objects), 100)
        function, wide, versions = "", set(), set()
        for line in run("objdump", "--disassemble", "--no-show-raw-insn", *objects).splitlines():
            if begins := re.match(r"[0-9a-f]+ <(.+)>:$", line):
                function = begins[1]
            elif WIDE.search(line):
                (versions if re.search(r"\.avx\w*(\.|$)", function) else wide).add(function)
        self.assertEqual(wide, set())
        self.assertNotEqual(versions, set())  # else this would see nothing


if __name__ == "__main__":
    missing = [tool for tool in TOOLS if not shutil.which(tool)]
    if missing:
        print("skipped: no", " ".join(missing), "here; scripts/setup --tests installs them")
        sys.exit(77)
    unittest.main(argv=sys.argv[:1], verbosity=2)
