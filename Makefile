# SPDX-License-Identifier: MIT
# soakledger. `make demo` plays an invented week, `make check` runs every test; both set up what they need.
# VARIANT is how things are built: gcc (the product), clang (a second opinion), asan (ASan + UBSan, for tests), fuzz
# (libFuzzer + ASan + UBSan), tsan (TSan, for the two threads), coverage (counts what tests reach).

VARIANT ?= gcc
V ?= 0
Q := $(if $(filter 1,$(V)),,@)

PACKAGES_BUILD := gcc make pkg-config libserialport-dev libsqlite3-dev libhpdf-dev libinih-dev libsystemd-dev libssl-dev \
	libjansson-dev zlib1g-dev libfribidi-dev libfreetype-dev fonts-dejavu-core fonts-freefont-ttf fonts-wqy-microhei
PACKAGES_DEMO := openssl poppler-utils
PACKAGES_TEST := clang openssl libclang-rt-14-dev libcmocka-dev libmodbus-dev python3-pymodbus python3-serial python3-numpy \
	python3-jsonschema python3-scipy librsvg2-bin socat poppler-utils qpdf mupdf-tools ghostscript sqlite3 libsqlite3-dev mandoc
PACKAGES_MACHINE := qemu-system-x86 busybox-static cpio sqlite3 libkmod2 libacl1 libblkid1 libcap2 libselinux1
PACKAGES_DEB := dpkg-dev binutils
PACKAGES_INSTALL := $(PACKAGES_DEB) systemd sqlite3
PACKAGES_MEMCHECK := valgrind
PACKAGES_LINT := clang clang-format clang-tidy cppcheck mandoc

LIBRARIES := libserialport sqlite3 inih libsystemd libcrypto jansson zlib fribidi freetype2
WARNINGS := -Wall -Wextra -Wpedantic -Wconversion -Wshadow -Wstrict-prototypes -Wmissing-prototypes -Werror
CC_gcc := gcc
CC_clang := clang
CC_asan := gcc
CC_fuzz := clang
CC_tsan := gcc
CC_coverage := gcc
FLAGS_gcc := -O2 -g -D_FORTIFY_SOURCE=2 -fstack-protector-strong -fPIE
FLAGS_clang := -O2 -g -fPIE
FLAGS_asan := -O1 -g -fno-omit-frame-pointer -fsanitize=address,undefined -fno-sanitize-recover=all
FLAGS_fuzz := -O1 -g -fno-omit-frame-pointer -fsanitize=fuzzer-no-link,address,undefined -fno-sanitize-recover=all
FLAGS_tsan := -O1 -g -fno-omit-frame-pointer -fsanitize=thread -fPIE
FLAGS_coverage := -O0 -g --coverage
LINK_gcc := -pie -Wl,-z,relro,-z,now
LINK_clang := -pie
LINK_asan := -fsanitize=address,undefined
LINK_fuzz := -fsanitize=fuzzer,address,undefined
LINK_tsan := -fsanitize=thread -pie
LINK_coverage := --coverage

ifeq ($(filter $(VARIANT),gcc clang asan fuzz tsan coverage),)
$(error VARIANT is '$(VARIANT)': expected gcc, clang, asan, fuzz, tsan or coverage)
endif

BUILD := build/$(VARIANT)
CC := $(CC_$(VARIANT))
CFLAGS = -std=c17 $(WARNINGS) $(FLAGS_$(VARIANT)) -MMD -MP -Iinclude -D_GNU_SOURCE \
	$(shell pkg-config --cflags $(LIBRARIES))
LDLIBS = -Wl,--as-needed $(shell pkg-config --libs $(LIBRARIES)) -lhpdf -lpthread -lm

# What each program is made of: the library's rooms, then each program's own folder.
LIB_SRC := $(sort $(wildcard daemon/*/*.c))
DAEMON_SRC := $(sort $(filter-out daemon/main.c,$(wildcard daemon/*.c)))
REPORT_SRC := $(sort $(filter-out report/main.c,$(wildcard report/*.c)))
SHOP_SRC := $(sort $(filter-out tests/shop/main.c tests/shop/until.c,$(wildcard tests/shop/*.c)))
TEST_SRC := $(sort $(wildcard tests/test_*.c))
FUZZ_SRC := $(sort $(wildcard tests/fuzz/fuzz_*.c))
BENCH_SRC := $(sort $(wildcard tests/bench/bench_*.c))
BENCH_SUPPORT_SRC := tests/bench/figure.c tests/bench/far_end.c tests/bench/plant.c
TOOL_SRC := $(sort $(wildcard tests/tool_*.c))
TEST_SUPPORT_SRC := $(sort $(wildcard tests/support/*.c))

objects = $(patsubst %.c,$(BUILD)/%.o,$(1))
LIB := $(BUILD)/libsoakledger.a
DAEMON_LIB := $(BUILD)/libdaemon.a
REPORT_LIB := $(BUILD)/libreport.a
SHOP_LIB := $(BUILD)/libshop.a
SUPPORT_LIB := $(BUILD)/libsupport.a
BENCH_LIB := $(BUILD)/libbench.a
PROGRAMS := $(BUILD)/soakledgerd $(BUILD)/soakledger
SHOP := $(BUILD)/shop $(BUILD)/until
TESTS := $(patsubst tests/%.c,$(BUILD)/%,$(TEST_SRC))
FUZZERS := $(patsubst tests/fuzz/%.c,build/fuzz/%,$(FUZZ_SRC))
BENCHES := $(patsubst tests/bench/%.c,$(BUILD)/%,$(BENCH_SRC))
STALL := $(BUILD)/stall.so
FAULTS := $(BUILD)/disk.so $(BUILD)/memory.so
TOOLS := $(patsubst tests/%.c,$(BUILD)/%,$(TOOL_SRC))

FUZZ_RUNS ?= 10000000
FUZZ_SECONDS ?= 3600

.PHONY: all tests demo check bench benches fuzz fuzzers lint format analyse coverage tsan memcheck clean setup-build setup-demo setup-test setup-lint
all: $(PROGRAMS)
tests: $(PROGRAMS) $(SHOP) $(TESTS) $(TOOLS) $(FAULTS) benches
benches: $(BENCHES) $(STALL)

$(BUILD)/%.o: %.c Makefile
	@mkdir -p $(@D)
	@[ '$(V)' = 1 ] || echo "  CC  $(VARIANT) $<"
	$(Q)$(CC) $(CFLAGS) -c -o $@ $<

$(LIB): $(call objects,$(LIB_SRC))
$(DAEMON_LIB): $(call objects,$(DAEMON_SRC))
$(REPORT_LIB): $(call objects,$(REPORT_SRC))
$(SHOP_LIB): $(call objects,$(SHOP_SRC))
$(SUPPORT_LIB): $(call objects,$(TEST_SUPPORT_SRC))
$(BENCH_LIB): $(call objects,$(BENCH_SUPPORT_SRC))
$(LIB) $(DAEMON_LIB) $(REPORT_LIB) $(SHOP_LIB) $(SUPPORT_LIB) $(BENCH_LIB):
	@mkdir -p $(@D)
	$(Q)rm -f $@ && ar rcs $@ $^

# The daemon draws nothing: its link line says so.
$(BUILD)/soakledgerd: $(BUILD)/daemon/main.o $(DAEMON_LIB) $(LIB)
$(BUILD)/soakledger: $(BUILD)/report/main.o $(REPORT_LIB) $(LIB)
$(BUILD)/shop: $(BUILD)/tests/shop/main.o $(SHOP_LIB) $(LIB)
$(BUILD)/until: $(BUILD)/tests/shop/until.o $(LIB)
$(TESTS) $(TOOLS): $(BUILD)/%: $(BUILD)/tests/%.o $(SUPPORT_LIB) $(DAEMON_LIB) $(REPORT_LIB) $(SHOP_LIB) $(LIB)
$(BENCHES): $(BUILD)/%: $(BUILD)/tests/bench/%.o $(BENCH_LIB) $(DAEMON_LIB) $(REPORT_LIB) $(LIB)
build/fuzz/fuzz_ledger: $(BUILD)/tests/fuzz/ledger_base.o $(BUILD)/tests/support/ledger_fixture.o
$(FUZZERS): build/fuzz/%: $(BUILD)/tests/fuzz/%.o $(REPORT_LIB) $(LIB)
$(PROGRAMS) $(SHOP) $(TESTS) $(TOOLS) $(BENCHES) $(FUZZERS):
	@[ '$(V)' = 1 ] || echo "  LD  $(VARIANT) $@"
	$(Q)$(CC) $(LINK_$(VARIANT)) $(LINK_OF_$(@F)) -o $@ $^ $(LDLIBS) $(if $(filter $(TESTS) $(TOOLS),$@),-lcmocka -lmodbus -lutil)

# Memory that runs out: the test has its own in place of these.
LINK_OF_test_ledger_faults := -Wl,--wrap=malloc,--wrap=calloc,--wrap=realloc,--wrap=strdup

# Preloaded under the daemon by a bench: a disk that stalls on command.
$(STALL): tests/bench/stall.c Makefile
	@mkdir -p $(@D)
	$(Q)$(CC) -std=c17 $(WARNINGS) -O2 -g -D_GNU_SOURCE -fPIC -shared -o $@ $<

# The same for tests: a disk and a memory that fail.
$(FAULTS): $(BUILD)/%.so: tests/fault/%.c Makefile
	@mkdir -p $(@D)
	$(Q)$(CC) -std=c17 $(WARNINGS) -O2 -g -D_GNU_SOURCE -fPIC -shared -o $@ $<

setup-build: ; @tests/setup $(PACKAGES_BUILD)
setup-demo: ; @tests/setup $(PACKAGES_BUILD) $(PACKAGES_DEMO)
setup-test: ; @tests/setup $(PACKAGES_BUILD) $(PACKAGES_TEST)
setup-lint: ; @tests/setup $(PACKAGES_BUILD) $(PACKAGES_TEST) $(PACKAGES_LINT)

demo: setup-demo
	$(Q)$(MAKE) --no-print-directory -j2 all build/$(VARIANT)/shop build/$(VARIANT)/until
	$(Q)tests/demo/play $(BUILD) build/demo

# gcc's and clang's builds must be clean; every test runs in the product's build and in the sanitizers'.
check: setup-test
	$(Q)$(MAKE) --no-print-directory -j2 VARIANT=clang tests
	$(Q)$(MAKE) --no-print-directory -j2 VARIANT=gcc tests
	$(Q)$(MAKE) --no-print-directory -j2 VARIANT=asan tests
	$(Q)tests/run build/gcc build/asan
	$(Q)$(MAKE) --no-print-directory check-install
	$(Q)$(MAKE) --no-print-directory fuzz FUZZ_RUNS=20000 FUZZ_SECONDS=6

# Speed and memory, each held against a limit or a peer of the same run. Timed, so no part of check.
bench: setup-test
	$(Q)$(MAKE) --no-print-directory -j2 all benches
	$(Q)tests/bench/run $(BUILD) $(BENCHES)

# Every parser under libFuzzer, beginning from the kept corpus. FUZZ_RUNS executions or FUZZ_SECONDS each.
fuzz: setup-test
	$(Q)$(MAKE) --no-print-directory -j2 VARIANT=fuzz fuzzers
	$(Q)tests/fuzz/run $(FUZZ_RUNS) $(FUZZ_SECONDS) $(FUZZERS)
fuzzers: $(FUZZERS)

C_FILES := $(LIB_SRC) $(wildcard daemon/*.c report/*.c tests/*.c tests/shop/*.c tests/support/*.c tests/fuzz/*.c tests/bench/*.c tests/fault/*.c)
H_FILES := $(wildcard include/soakledger/*.h daemon/*.h daemon/*/*.h report/*.h tests/shop/*.h tests/support/*.h tests/bench/*.h)
lint: setup-lint
	$(Q)tests/lint $(C_FILES) -- $(H_FILES) -- -std=c17 -Iinclude -Itests -D_GNU_SOURCE \
		$(shell pkg-config --cflags $(LIBRARIES))

# Installation. DESTDIR goes in front of everything. The configuration is always in /etc: both programs look there.
prefix ?= /usr/local
sysconfdir ?= /etc
bindir ?= $(prefix)/bin
datadir ?= $(prefix)/share
unitdir ?= $(prefix)/lib/systemd/system
VERSION := $(shell sed -n 's/^\#define SOAKLEDGER_VERSION "\(.*\)"/\1/p' include/soakledger/version.h)
MANUALS := $(sort $(wildcard report/*.1 daemon/*.8 daemon/*/*.5))
UNITS := systemd/soakledgerd.service systemd/soakledger-books.socket systemd/soakledger-books@.service

.PHONY: install deb check-install setup-install
setup-install: ; @tests/setup $(PACKAGES_BUILD) $(PACKAGES_INSTALL)

install: all
	install -d $(DESTDIR)$(bindir) $(DESTDIR)$(unitdir) $(DESTDIR)$(datadir)/doc/soakledger \
		$(DESTDIR)$(sysconfdir)/soakledger/plans
	install -m 755 $(PROGRAMS) $(DESTDIR)$(bindir)
	install -m 644 -t $(DESTDIR)$(unitdir) $(UNITS)
	sed -i 's:=/usr/bin/:=$(bindir)/:' $(addprefix $(DESTDIR)$(unitdir)/,$(notdir $(UNITS)))
	install -D -m 644 systemd/soakledger.sysusers $(DESTDIR)$(prefix)/lib/sysusers.d/soakledger.conf
	install -D -m 644 systemd/soakledger.tmpfiles $(DESTDIR)$(prefix)/lib/tmpfiles.d/soakledger.conf
	install -D -m 644 -t $(DESTDIR)$(prefix)/lib/udev/rules.d udev/60-soakledger.rules
	for page in $(MANUALS); do install -D -m 644 -t $(DESTDIR)$(datadir)/man/man$${page##*.} $$page || exit; done
	install -D -m 644 report/soakledger.bash $(DESTDIR)$(datadir)/bash-completion/completions/soakledger
	install -m 644 -t $(DESTDIR)$(datadir)/doc/soakledger LICENSE README.md $(wildcard report/*.schema.json)
	install -m 644 daemon/config/example.conf $(DESTDIR)$(sysconfdir)/soakledger/example.conf
	install -m 644 -t $(DESTDIR)$(sysconfdir)/soakledger/plans $(wildcard daemon/plan/examples/*.plan)

# $(DEB)/soakledger_VERSION_ARCHITECTURE.deb
DEB ?= build
DEB_OPTIONS ?= -Zxz
deb: setup-build
	$(Q)tests/setup $(PACKAGES_DEB)
	$(Q)$(MAKE) --no-print-directory -j2 VARIANT=gcc all
	$(Q)rm -rf $(DEB)/staged
	$(Q)$(MAKE) --no-print-directory install VARIANT=gcc DESTDIR=$(abspath $(DEB))/staged prefix=/usr >/dev/null
	$(Q)systemd/package/build $(DEB)/staged $(VERSION) $(DEB) $(DEB_OPTIONS)

# Package, accounts and units, in a root folder of their own. Needs root; see the script.
check-install: setup-install
	$(Q)$(MAKE) --no-print-directory -j2 VARIANT=gcc all
	$(Q)tests/install

# clang's static analyser over every file: minutes of computing.
analyse: setup-lint
	$(Q)tests/analyse $(C_FILES) -- -std=c17 -Iinclude -Itests -D_GNU_SOURCE $(shell pkg-config --cflags $(LIBRARIES))

# What the tests reach, by room: enough of those that judge, read, plan and keep?
COVERAGE_TESTS ?= $(notdir $(TESTS))
coverage: setup-test
	$(Q)$(MAKE) --no-print-directory -j2 VARIANT=coverage tests
	$(Q)tests/coverage build/coverage $(COVERAGE_TESTS)

# The two threads under TSan: their queue, a full queue, and hours of the whole with faults.
tsan: setup-test
	$(Q)$(MAKE) --no-print-directory -j2 VARIANT=tsan all $(addprefix build/tsan/,shop until tool_long stall.so test_queue \
		test_overflow)
	$(Q)SOAKLEDGER_BUILD=build/tsan build/tsan/test_queue
	$(Q)SOAKLEDGER_BUILD=build/tsan build/tsan/test_overflow
	$(Q)rm -rf build/long/tsan && tests/long/play build/tsan build/long/tsan 0.2 2

# Both programs under valgrind, through hours with faults.
# (It does not know the calls that keep others off a terminal, which take nothing.)
MEMCHECK := valgrind -q --error-exitcode=99 --leak-check=full --sim-hints=lax-ioctls --log-file=OUT/under.%p
memcheck: setup-test
	$(Q)tests/setup $(PACKAGES_MEMCHECK)
	$(Q)$(MAKE) --no-print-directory -j2 VARIANT=gcc all $(addprefix build/gcc/,shop until tool_long stall.so)
	$(Q)rm -rf build/long/memcheck && LONG_UNDER='$(MEMCHECK)' tests/long/play build/gcc build/long/memcheck 0.2 10

format:
	$(Q)clang-format -i $(C_FILES) $(H_FILES)

# The kernel's own serial drivers, in a virtual machine; and weeks with whatever goes wrong, each channel read every
# LONG_INTERVAL seconds.
LONG_DAYS ?= 30
LONG_INTERVAL ?= 1
.PHONY: soak-test long
soak-test: long machine
long: setup-test
	$(Q)$(MAKE) --no-print-directory -j2 all $(addprefix $(BUILD)/,shop until tool_long stall.so)
	$(Q)rm -rf build/long/weeks && tests/long/play $(BUILD) build/long/weeks $(LONG_DAYS) $(LONG_INTERVAL)
.PHONY: machine
machine: setup-install
	$(Q)tests/setup $(PACKAGES_MACHINE)
	$(Q)$(MAKE) --no-print-directory -j2 all build/$(VARIANT)/shop build/$(VARIANT)/until $(FAULTS) $(filter $(BUILD)/test_fault_%,$(TESTS))
	$(Q)tests/machine/run $(BUILD)
	$(Q)tests/machine/service $(BUILD)
	$(Q)tests/fault/long $(BUILD)

clean:
	rm -rf build

-include $(shell find $(BUILD) -name '*.d' 2>/dev/null)
