"""Compiles the firmware, the emulated board and the packet builder, with a clear sentence where a tool is missing.

Results are kept for the length of the test run, each compiled once.
"""

import functools
import importlib.util
import re
import shlex
import shutil
import subprocess
import tempfile
from pathlib import Path

NOTES = Path(__file__).parents[2] / "firmware_notes"
PACKED_BOARD = NOTES / "packed_board"
LINE_BOARD = NOTES / "line_board"
RP2040_BOARD = NOTES / "rp2040_board"
NODE = NOTES.parent / ".node"
AVR_FLAGS = ["-mmcu=atmega328p", "-DF_CPU=16000000UL", "-Os", "-Wall", "-Wextra", "-Werror"]
ARDUINO = Path("/usr/share/arduino/hardware/arduino/avr")
PACKAGES = {
    "avr-gcc": "gcc-avr avr-libc",
    "avr-g++": "gcc-avr avr-libc",
    "avr-gcc-ar": "gcc-avr",
    "avr-nm": "binutils-avr",
    "avr-size": "binutils-avr",
    "cc": "gcc",
    "pkg-config": "pkg-config",
    "ngspice": "ngspice",
    "node": "nodejs",
    "npm": "npm",
    "arm-none-eabi-gcc": "gcc-arm-none-eabi",
    "arm-none-eabi-objcopy": "binutils-arm-none-eabi",
}


class ToolMissingError(AssertionError):
    """A program that these tests cannot do without."""


class CompileError(AssertionError):
    """The compiler's own words."""


def run(*command):
    """Standard output of a program; AssertionError with its words if it fails."""
    program = str(command[0])
    if shutil.which(program) is None:
        package = PACKAGES.get(program, program)
        raise ToolMissingError(f"The firmware tests need {program}: install it with: apt-get install {package}")
    done = subprocess.run([str(word) for word in command], capture_output=True, text=True, check=False)
    if done.returncode:
        raise CompileError(f"{shlex.join(str(word) for word in command)}\n{done.stderr}")
    return done.stdout


@functools.cache
def _kept():
    return tempfile.TemporaryDirectory(prefix="firmware-")


def build_folder():
    return Path(_kept().name)


@functools.cache
def packed_elf(*defines):
    """The packed board, by the plain compiler; defines such as "BOARD_BAUD=115200UL"."""
    out = build_folder() / f"packed-{len(list(build_folder().glob('packed-*')))}.elf"
    sources = sorted(PACKED_BOARD.glob("*.c"))
    run("avr-gcc", *AVR_FLAGS, *(f"-D{define}" for define in defines), *sources, "-o", out)
    return out


@functools.cache
def plain_elf(source):
    """One C file of the tests' own."""
    out = build_folder() / f"{source.stem}.elf"
    run("avr-gcc", *AVR_FLAGS, source, "-o", out)
    return out


@functools.cache
def packet_library():
    """The packet builder as a library of this machine."""
    out = build_folder() / "packet.so"
    warnings = ["-Wall", "-Wextra", "-Wconversion", "-Werror"]
    run("cc", "-std=c99", "-O1", *warnings, "-shared", "-fPIC", PACKED_BOARD / "packet.c", "-o", out)
    return out


@functools.cache
def rp2040_image(*defines):
    """The packed board for the RP2040, ready for its boot ROM, built as its notes say."""
    out = build_folder() / f"rp2040-{len(list(build_folder().glob('rp2040-*.elf')))}.elf"
    command = re.search(
        r"^arm-none-eabi-gcc (.*) -o board.elf$", (NOTES / "README.md").read_text(encoding="utf-8"), re.MULTILINE
    )[1]
    flags = [RP2040_BOARD / word if word.endswith((".c", ".S", ".ld")) else word for word in command.split()]
    warnings = ["-Wall", "-Wextra", "-Wconversion", "-Werror"]
    run("arm-none-eabi-gcc", *warnings, *(f"-D{define}" for define in defines), *flags, "-o", out)
    image = out.with_suffix(".bin")
    run("arm-none-eabi-objcopy", "-O", "binary", out, image)
    image.write_bytes(script(RP2040_BOARD / "make_image.py").with_checksum(image.read_bytes()))
    return image


def script(path):
    """A script of the notes, as a module."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@functools.cache
def node_modules():
    """The folder of the emulators that run under node, in the versions of package-lock.json; fetched once."""
    here = Path(__file__).parent
    lock = (here / "package-lock.json").read_bytes()
    kept = NODE / "package-lock.json"
    if not kept.exists() or kept.read_bytes() != lock or not (NODE / "node_modules").is_dir():
        NODE.mkdir(exist_ok=True)
        shutil.copy(here / "package.json", NODE)
        shutil.copy(here / "package-lock.json", NODE)
        run("npm", "ci", "--ignore-scripts", "--no-audit", "--no-fund", "--prefix", NODE)
    return NODE / "node_modules"


@functools.cache
def bench_program():
    out = build_folder() / "bench"
    if not Path("/usr/include/simavr/sim_avr.h").exists():
        raise ToolMissingError("The firmware tests need simavr: install it with: apt-get install libsimavr-dev libelf-dev")
    flags = run("pkg-config", "--cflags", "--libs", "simavr").split()
    run("cc", "-O2", "-Wall", "-Wextra", "-Werror", NOTES / "emulator" / "bench.c", *flags, "-lm", "-o", out)
    return out


# ---- the Arduino way: the flags of the core's own platform.txt, for a board with eight analogue inputs ----

# The second line: this core expects a newer avr-gcc, whose <float.h> names DECIMAL_DIG for C++ too.
_BOARD = [
    *("-mmcu=atmega328p", "-DF_CPU=16000000L", "-DARDUINO=10819", "-DARDUINO_ARCH_AVR"),
    "-DDECIMAL_DIG=__DECIMAL_DIG__",
    *(f"-I{ARDUINO / folder}" for folder in ("cores/arduino", "variants/eightanaloginputs")),
]
_SHARED = ["-c", "-g", "-Os", "-ffunction-sections", "-fdata-sections", "-flto"]
_C = ["avr-gcc", *_SHARED, "-std=gnu11", "-fno-fat-lto-objects", *_BOARD]
_CPP = ["avr-g++", *_SHARED, "-std=gnu++11", "-fpermissive", "-fno-exceptions", "-fno-threadsafe-statics", *_BOARD]
_ASSEMBLER = ["avr-gcc", "-c", "-x", "assembler-with-cpp", *_BOARD]
_COMPILERS = {".c": _C, ".cpp": _CPP, ".S": _ASSEMBLER}


@functools.cache
def _arduino_core():
    core = ARDUINO / "cores" / "arduino"
    if not core.is_dir():
        raise ToolMissingError("The firmware tests need the Arduino core: install it with: apt-get install arduino-core-avr")
    folder = build_folder() / "core"
    folder.mkdir()
    objects = []
    for source in sorted(path for path in core.iterdir() if path.suffix in _COMPILERS):
        objects.append(folder / f"{source.name}.o")
        run(*_COMPILERS[source.suffix], "-w", source, "-o", objects[-1])
    archive = folder / "core.a"
    run("avr-gcc-ar", "rcs", archive, *objects)
    return archive


@functools.cache
def sketch_elf(folder):
    """A sketch folder, as the Arduino builder makes it: the .ino as C++ after Arduino.h, every .c file, then the core."""
    core = _arduino_core()
    objects = []
    for source in sorted([*folder.glob("*.ino"), *folder.glob("*.c")]):
        objects.append(build_folder() / f"{folder.name}-{source.name}.o")
        language = ["-x", "c++", "-include", "Arduino.h"] if source.suffix == ".ino" else []
        compiler = _CPP if source.suffix == ".ino" else _C
        run(*compiler, "-Wall", "-Werror", *language, source, "-o", objects[-1])
    out = build_folder() / f"{folder.name}-sketch.elf"
    link = ["-w", "-Os", "-g", "-flto", "-fuse-linker-plugin", "-Wl,--gc-sections", "-mmcu=atmega328p"]
    run("avr-gcc", *link, "-o", out, *objects, core, "-lm")
    return out


def symbols(elf):
    """Name to address, as avr-nm tells them; RAM starts at 0x800000 there."""
    lines = [line.split() for line in run("avr-nm", elf).splitlines()]
    return {words[2]: int(words[0], 16) for words in lines if len(words) == 3}


def sizes(elf):
    """Bytes of text, data and bss."""
    return dict(zip(("text", "data", "bss"), map(int, run("avr-size", elf).splitlines()[1].split()[:3]), strict=True))
