// SPDX-License-Identifier: MIT
/* Configuration: the example that is shipped, every key and default, and what is refused with file and line. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <fcntl.h>
#include <pty.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "soakledger/config.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

#define LEDGER     "[ledger]\npath = /l\n"                                                 // 2 lines
#define LINE       "[line a]\ndevice = /dev/none\n"                                        // 2
#define INSTRUMENT "[instrument i]\nline = a\naddress = 1\n"                               // 3
#define OVEN       "[oven o]\n"                                                            // 1
#define BASE       LEDGER LINE INSTRUMENT OVEN                                             // 8
#define PLACE(n)   "instrument = i\nfunction = 4\nregister = " n "\n"                      // 3
#define CHANNEL    "[channel o.c]\nrole = control\n" PLACE("0") "decimals = 1\nunit = C\n" // 7: 15 in all
#define SECOND(r)  "[channel o.d]\nrole = " r "\n" PLACE("1") "decimals = 1\n"             // 6
#define TEXT(w)    "[instrument i]\nline = a\nwire = " w "\n"                              // 3
#define POLLED     LEDGER LINE TEXT("polled-text")                                         // 7
#define FREE       LEDGER LINE TEXT("free-text")                                           // 7
#define PIECE(k)   "[channel o.c]\nrole = control\ninstrument = i\n" k "unit = C\n"        // 4 and k
#define LONG_NAME  "1234567890123456789012345678901234567890123456789012345678901234"      // 64 bytes

/* Reads `text` as a file whose name is "FILE" in the fault. */
static struct config *read_text(const char *text, struct fault *fault) {
    char path[] = "/tmp/test_config.XXXXXX", rest[FAULT_TEXT_BYTES];
    const int descriptor = mkstemp(path);
    struct config *config;

    assert_true(descriptor >= 0);
    assert_int_equal(write(descriptor, text, strlen(text)), strlen(text));
    close(descriptor);
    config = config_read(path, fault);
    unlink(path);
    if (config == NULL && strncmp(fault->text, path, strlen(path)) == 0) {
        memcpy(rest, fault->text + strlen(path), strlen(fault->text + strlen(path)) + 1);
        snprintf(fault->text, sizeof fault->text, "FILE%.500s", rest);
    }
    return config;
}

static struct config *read_good(const char *text) {
    struct fault fault = {0, ""};
    struct config *config = read_text(text, &fault);

    if (config == NULL)
        fail_msg("refused: %s", fault.text);
    return config;
}

static struct config *open_example(void) {
    struct fault fault = {0, ""};
    struct config *config = config_read("daemon/config/example.conf", &fault);

    if (config == NULL)
        fail_msg("refused: %s", fault.text);
    return config;
}

static void the_example_is_accepted(void **state) {
    struct config *config = open_example();

    (void)state;
    assert_int_equal(config->line_count, 1);
    assert_int_equal(config->instrument_count, 3);
    assert_int_equal(config->sensor_count, 4);
    assert_int_equal(config->oven_count, 2);
    assert_int_equal(config->channel_count, 6);
    assert_string_equal(config->channels[3].name, "front of rack");
    assert_string_equal(config->sensors[config->channels[3].sensor].identity, "N-201");
    assert_int_equal(config->ovens[0].heats_at_most_mc_per_h, 3600000);
    config_free(config);
    config_free(NULL);
}

static void defaults_are_what_the_manual_says(void **state) {
    struct config *config = read_good(BASE CHANNEL "[sensor s]\n");
    const struct config_oven *oven = &config->ovens[0];
    const struct config_channel *channel = &config->channels[0];

    (void)state;
    assert_null(config->clock_page);
    assert_string_equal(config->ledger_path, "/l");
    assert_string_equal(config->shop_name, "");
    assert_string_equal(config->shop_address, "");
    assert_int_equal(config->unit, UNIT_CELSIUS);
    assert_string_equal(config->paper, "A4");
    assert_int_equal(config->utc_offset_min, 0);
    assert_null(config->alert.command);
    assert_int_equal(config->alert.escalate_after_ms, 15 * 60000);
    assert_int_equal(config->alert.time_limit_ms, 10000);
    assert_string_equal(config->text, BASE CHANNEL "[sensor s]\n");
    assert_int_equal(config->lines[0].kind, LINE_SERIAL);
    /* MODBUS over serial line V1.02: 19,200 baud, even parity, one stop bit */
    assert_int_equal(config->lines[0].speed_baud, 19200);
    assert_int_equal(config->lines[0].parity, PARITY_EVEN);
    assert_int_equal(config->lines[0].stop_bits, 1);
    assert_int_equal(config->instruments[0].reply_within_ms, 300);
    assert_int_equal(config->instruments[0].retries, 1);
    assert_string_equal(config->sensors[0].type, "");
    assert_string_equal(config->sensors[0].tolerance, "");
    assert_int_equal(config->sensors[0].fitted_ms, 0);
    assert_int_equal(oven->begins_on_rise_mc, 15000);
    assert_int_equal(oven->rise_within_ms, 10 * 60000);
    assert_int_equal(oven->ends_after_ms, 20 * 60000);
    assert_int_equal(oven->ends_below_mc, 60000);
    assert_int_equal(oven->silent_after_ms, 60 * 60000);
    assert_int_equal(oven->lead_ms, 10 * 60000);
    assert_int_equal(oven->idle_interval_ms, 60000);
    assert_int_equal(oven->heats_at_most_mc_per_h, 36000000);
    assert_int_equal(channel->sensor, CONFIG_NO_SENSOR);
    assert_int_equal(channel->interval_ms, 1000);
    assert_int_equal(channel->fitting.encoding, ENCODING_INT16);
    assert_int_equal(channel->fitting.low, -50000);
    assert_int_equal(channel->fitting.high, 1400000);
    assert_int_equal(channel->fitting.open_count, 0);
    assert_int_equal(config->lines[0].data_bits, 8);
    assert_int_equal(config->instruments[0].turnaround_ms, 0);
    assert_int_equal(config->instruments[0].setting.kind, WIRE_MODBUS_RTU);
    assert_int_equal(config->instruments[0].setting.address, 1);
    assert_int_equal(channel->fitting.wire, WIRE_MODBUS_RTU);
    assert_int_equal(channel->fitting.frozen_after_ms, 0);
    assert_int_equal(channel->fitting.moves_at_most_mc_per_h, 0);
    assert_int_equal(channel->fitting.over_count, 0);
    assert_int_equal(channel->fitting.under_count, 0);
    config_free(config);
}

static void defaults_of_text_are_what_the_manual_says(void **state) {
    struct config *config = read_good(FREE OVEN PIECE("field = 2\n"));
    const struct config_instrument *instrument = &config->instruments[0];
    const struct channel_fitting *fitting = &config->channels[0].fitting;

    (void)state;
    assert_int_equal(instrument->setting.kind, WIRE_FREE_TEXT);
    assert_int_equal(instrument->address, 0);
    assert_int_equal(instrument->missing_after, 3);
    assert_string_equal(instrument->setting.text_end, "\r\n");
    assert_int_equal(instrument->setting.check, TEXT_CHECK_NONE);
    assert_int_equal(instrument->setting.fields, 0);
    assert_int_equal(instrument->setting.word_count, 0);
    assert_int_equal(fitting->wire, WIRE_FREE_TEXT);
    assert_int_equal(fitting->field, 2);
    assert_int_equal(fitting->separator, ',');
    assert_int_equal(fitting->decimals, 0);
    assert_string_equal(fitting->query, "");
    assert_string_equal(fitting->pattern, "");
    config_free(config);
    config = read_good(POLLED "query = T?\n" OVEN PIECE("field = 1\n"));
    assert_string_equal(config->instruments[0].setting.query_end, "\r\n");
    assert_string_equal(config->channels[0].fitting.query, "T?");
    config_free(config);
}

static void every_key_of_text_arrives(void **state) {
    struct config *config = read_good(
        LEDGER
        "[line a]\ndevice = /dev/none\ndata_bits = 7\n"
        "[instrument i]\nline = a\nwire = polled-text\naddress = 7\nquery = #{address:2}T?\nquery_end = LF\n"
        "text_end = CR\ncheck = crc16\nseparator = space\nfields = 9\nopen_words = OPEN, ----\n"
        "over_words = OVER\nunder_words = UNDER\nturnaround = 20 ms\nretries = 0\nreply_within = 1 s\n"
        "[instrument j]\nline = a\nwire = modbus-ascii\naddress = 8\n"
        "[instrument k]\nline = a\nwire = polled-text\naddress = 9\nquery_is_read_only = yes\nquery_end = none\n"
        "text_end = ETX\n" OVEN PIECE(
            "field = 9\nfrozen_after = 5 min\nmoves_at_most = 60 C/s\n"
            "open_value = -99\nover_value = 9999, 8888\nunder_value = -9999\n"
            "decimals = 1\n") "[channel o.d]\nrole = load\ninstrument = k\nquery = {address}R\nunit = F\n"
                              "pattern = A{address} {value} F\n"
                              "[channel o.e]\nrole = load\ninstrument = j\nfunction = 3\nregister = 0\ndecimals = "
                              "0\n"
                              "unit = C\n");
    const struct config_instrument *instrument = &config->instruments[0];
    const struct channel_fitting *fitting = &config->channels[0].fitting;

    (void)state;
    assert_int_equal(config->lines[0].data_bits, 7);
    assert_int_equal(instrument->setting.kind, WIRE_POLLED_TEXT);
    assert_int_equal(instrument->setting.address, 7);
    assert_string_equal(instrument->setting.query_end, "\n");
    assert_string_equal(instrument->setting.text_end, "\r");
    assert_int_equal(instrument->setting.check, TEXT_CHECK_CRC16);
    assert_int_equal(instrument->setting.fields, 9);
    assert_int_equal(instrument->turnaround_ms, 20);
    assert_int_equal(instrument->setting.word_count, 4);
    assert_string_equal(instrument->setting.words[1].word, "----");
    assert_int_equal(instrument->setting.words[1].quality, QUALITY_OPEN_SENSOR);
    assert_int_equal(instrument->setting.words[2].quality, QUALITY_OVER_RANGE);
    assert_int_equal(instrument->setting.words[3].quality, QUALITY_UNDER_RANGE);
    assert_string_equal(config->instruments[2].setting.query_end, "");
    assert_string_equal(config->instruments[2].setting.text_end, "\x03");
    assert_string_equal(fitting->query, "#{address:2}T?");
    assert_int_equal(fitting->field, 9);
    assert_int_equal(fitting->separator, ' ');
    assert_int_equal(fitting->decimals, 1);
    assert_int_equal(fitting->frozen_after_ms, 300000);
    assert_int_equal(fitting->moves_at_most_mc_per_h, INT64_C(60000) * 3600);
    assert_int_equal(fitting->open_raw[0], -99);
    assert_int_equal(fitting->over_count, 2);
    assert_int_equal(fitting->over_raw[1], 8888);
    assert_int_equal(fitting->under_count, 1);
    assert_int_equal(fitting->under_raw[0], -9999);
    assert_string_equal(config->channels[1].fitting.query, "{address}R");
    assert_string_equal(config->channels[1].fitting.pattern, "A{address} {value} F");
    assert_int_equal(config->channels[1].fitting.field, 0);
    assert_int_equal(config->channels[2].fitting.wire, WIRE_MODBUS_ASCII);
    config_free(config);
}

static void every_key_of_shop_line_and_oven_arrives(void **state) {
    struct config *config = read_good(
        "[ledger]\npath = /a/b\n[clock]\npage = /c\n[shop]\nname = N\naddress = A\nunits = F\npaper = Letter\n"
        "key = /k\nutc_offset = -03:30\n[line a]\ndevice = /dev/none\nkind = pseudo-terminal\nspeed = 9600\nparity "
        "= odd\n"
        "stop_bits = 2\n[line b]\ndevice = /dev/other\nkind = serial\nparity = none\n"
        "[instrument i]\nline = b\naddress = 247\nreply_within = 1 s\nretries = 3\n"
        "[instrument j]\nline = a\naddress = 247\n"
        "[sensor s]\ntype = N\ntolerance = class 1\nfitted = 1970-01-02\n"
        "[oven o]\nbegins_on_rise = 9 F\nrise_within = 2 min\nends_after = 3 min\nends_below = 40 C\n"
        "silent_after = 4 min\nlead = 0 s\nidle_interval = 30 s\nheats_at_most = 20 C/min\n" CHANNEL);

    (void)state;
    assert_string_equal(config->ledger_path, "/a/b");
    assert_string_equal(config->clock_page, "/c");
    assert_string_equal(config->shop_name, "N");
    assert_string_equal(config->shop_address, "A");
    assert_string_equal(config->key_path, "/k");
    assert_int_equal(config->unit, UNIT_FAHRENHEIT);
    assert_string_equal(config->paper, "Letter");
    assert_int_equal(config->utc_offset_min, -210);
    assert_string_equal(config->lines[0].name, "a");
    assert_string_equal(config->lines[0].device, "/dev/none");
    assert_int_equal(config->lines[0].kind, LINE_PSEUDO_TERMINAL);
    assert_int_equal(config->lines[0].speed_baud, 9600);
    assert_int_equal(config->lines[0].parity, PARITY_ODD);
    assert_int_equal(config->lines[0].stop_bits, 2);
    assert_int_equal(config->lines[1].kind, LINE_SERIAL);
    assert_int_equal(config->lines[1].parity, PARITY_NONE);
    assert_int_equal(config->lines[1].stop_bits, 2); // as many bits as with parity
    assert_int_equal(config->instruments[0].line, 1);
    assert_int_equal(config->instruments[0].address, 247);
    assert_int_equal(config->instruments[0].reply_within_ms, 1000);
    assert_int_equal(config->instruments[0].retries, 3);
    assert_int_equal(config->instruments[1].line, 0);
    assert_string_equal(config->sensors[0].identity, "s");
    assert_string_equal(config->sensors[0].type, "N");
    assert_string_equal(config->sensors[0].tolerance, "class 1");
    assert_int_equal(config->sensors[0].fitted_ms, 86400000);
    assert_int_equal(config->ovens[0].begins_on_rise_mc, 5000);
    assert_int_equal(config->ovens[0].rise_within_ms, 120000);
    assert_int_equal(config->ovens[0].ends_after_ms, 180000);
    assert_int_equal(config->ovens[0].ends_below_mc, 40000);
    assert_int_equal(config->ovens[0].silent_after_ms, 240000);
    assert_int_equal(config->ovens[0].lead_ms, 0);
    assert_int_equal(config->ovens[0].idle_interval_ms, 30000);
    assert_int_equal(config->ovens[0].heats_at_most_mc_per_h, 1200000);
    config_free(config);
}

static void every_key_of_alerts_arrives(void **state) {
    struct config *config = read_good(
        BASE CHANNEL "[alert]\ncommand = /bin/tell  the shop &\nescalate_after = 2 min\ntime_limit = 3 s\n");

    (void)state;
    assert_string_equal(config->alert.command[0], "/bin/tell");
    assert_string_equal(config->alert.command[1], "the");
    assert_string_equal(config->alert.command[2], "shop");
    assert_string_equal(config->alert.command[3], "&"); // a word as any other
    assert_null(config->alert.command[4]);
    assert_int_equal(config->alert.escalate_after_ms, 120000);
    assert_int_equal(config->alert.time_limit_ms, 3000);
    config_free(config);
}

static void every_key_of_a_channel_arrives(void **state) {
    struct config *config = read_good(
        BASE "[oven p q]\n[sensor s]\n[sensor t]\n"
             "[channel p q.front.left]\nrole = load\ninstrument = i\nfunction = 3\nregister = 65534\n"
             "encoding = uint32\nword_order = low first\ndecimals = -3\nunit = F\ninterval = 250 ms\n"
             "range = 32 F .. 212 F\nopen_value = 0 , 4294967295\nsensor = t\n"
             "[channel p q.power]\nrole = output\n" PLACE("5") "decimals = 1\n"
                                                               "[channel p q.air]\nrole = ambient\n" PLACE(
                                                                   "6") "decimals = 6\nunit = C\n" CHANNEL);
    const struct config_channel *channel = &config->channels[0], *output = &config->channels[1];

    (void)state;
    assert_int_equal(config->channel_count, 4);
    assert_string_equal(channel->name, "front.left");
    assert_int_equal(channel->oven, 1);
    assert_int_equal(channel->instrument, 0);
    assert_int_equal(channel->sensor, 1);
    assert_int_equal(channel->role, ROLE_LOAD);
    assert_int_equal(channel->interval_ms, 250);
    assert_int_equal(channel->fitting.function, 3);
    assert_int_equal(channel->fitting.first_register, 65534);
    assert_int_equal(channel->fitting.encoding, ENCODING_UINT32);
    assert_int_equal(channel->fitting.word_order, WORD_LOW_FIRST);
    assert_int_equal(channel->fitting.decimals, -3);
    assert_int_equal(channel->fitting.unit, CHANNEL_FAHRENHEIT);
    assert_int_equal(channel->fitting.low, 0);
    assert_int_equal(channel->fitting.high, 100000);
    assert_int_equal(channel->fitting.open_count, 2);
    assert_int_equal(channel->fitting.open_raw[0], 0);
    assert_int_equal(channel->fitting.open_raw[1], UINT32_MAX);
    assert_int_equal(output->role, ROLE_OUTPUT);
    assert_int_equal(output->fitting.unit, CHANNEL_CELSIUS); // so that per cent are not converted
    assert_int_equal(output->fitting.low, -100000);
    assert_int_equal(output->fitting.high, 100000);
    assert_int_equal(config->channels[2].role, ROLE_AMBIENT);
    assert_int_equal(config->channels[2].fitting.decimals, 6);
    assert_int_equal(config->channels[3].oven, 0);
    config_free(config);
}

static void sections_may_stand_in_any_order(void **state) {
    struct config *config = read_good(CHANNEL OVEN INSTRUMENT LINE LEDGER);

    (void)state;
    assert_int_equal(config->channel_count, 1);
    config_free(config);
}

static void a_pseudo_terminal_is_recognised(void **state) {
    char name[64], text[512], link[] = "/tmp/test_config_link.XXXXXX";
    struct config *config;
    struct fault fault = {0, ""};
    int master, slave;

    (void)state;
    assert_int_equal(openpty(&master, &slave, name, NULL, NULL), 0);
    assert_non_null(mkdtemp(link));
    rmdir(link);
    assert_int_equal(symlink(name, link), 0);
    snprintf(text, sizeof text, LEDGER "[line a]\ndevice = %s\n" INSTRUMENT OVEN CHANNEL, link);
    config = read_good(text);
    assert_int_equal(config->lines[0].kind, LINE_PSEUDO_TERMINAL);
    assert_string_equal(config->lines[0].device, link);
    config_free(config);
    snprintf(text, sizeof text, LEDGER "[line a]\ndevice = %s\n[line b]\ndevice = %s\n" INSTRUMENT OVEN CHANNEL,
             link, name);
    assert_null(read_text(text, &fault)); // two names of one device
    assert_string_equal(fault.text,
                        "FILE:6: device: the device of line 'a' already: expected one line for each device");
    unlink(link);
    close(master);
    close(slave);
}

static const struct refusal {
    const char *text;
    const char *message; // its beginning
} refusals[] = {
    {"", "FILE:1: no section [ledger] in the whole file"},
    {LEDGER, "FILE:1: no section [line NAME] in the whole file"},
    {LEDGER LINE, "FILE:1: no section [instrument NAME] in the whole file"},
    {LEDGER LINE INSTRUMENT, "FILE:1: no section [oven NAME] in the whole file"},
    {BASE, "FILE:1: no section [channel NAME] in the whole file"},
    {"[ledger]\npath = /l\nthin_after = 29 d\n" LINE INSTRUMENT, "FILE:3: thin_after: out of range: expected"},
    {"[ledger]\npath = /l\nthin_to = 5 min\n" LINE INSTRUMENT, "FILE:3: thin_to: expected thin_after beside it"},
    {"[ledger]\npath = /l\nthin_after = 60 d\nthin_to = 2 h\n" LINE INSTRUMENT, "FILE:4: thin_to: out of range"},
    {BASE CHANNEL "[alert x]\n", "FILE:16: [alert x]: expected [alert] without a name"},
    {BASE CHANNEL "[alert]\ncommand = tell-me\n", "FILE:17: command: 'tell-me': expected a path from the root"},
    {BASE CHANNEL "[alert]\ncommand = /bin/tell 'two words'\n",
     "FILE:17: command: quotes, '$' and '\\' mean nothing here: expected a path and words"},
    {BASE CHANNEL "[alert]\ncommand = /bin/tell $HOME\n", "FILE:17: command: quotes, '$' and"},
    {BASE CHANNEL "[alert]\ncommand = /a b c d e f g h i j k l m n o p q\n",
     "FILE:17: command: too many words: expected at most 16"},
    {BASE CHANNEL "[alert]\nescalate_after = 59 s\n",
     "FILE:17: escalate_after: out of range: expected 1 min to 1 d"},
    {BASE CHANNEL "[alert]\ntime_limit = 11 min\n", "FILE:17: time_limit: out of range: expected 1 s to 10 min"},
    {BASE CHANNEL "[alert]\nwhom = me\n", "FILE:17: unknown key 'whom' in [alert]"},
    {BASE CHANNEL "[furnace f]\n", "FILE:16: unknown section [furnace]: expected ledger, clock"},
    {BASE CHANNEL "[oven]\n", "FILE:16: [oven] has no name: expected [oven NAME]"},
    {BASE CHANNEL "[shop x]\n", "FILE:16: [shop x]: expected [shop] without a name"},
    {BASE CHANNEL "[oven o]\n", "FILE:16: section [oven o] is given twice: the first is on line 8"},
    {BASE CHANNEL CHANNEL, "FILE:16: section [channel o.c] is given twice"},
    {BASE CHANNEL "[sensor " LONG_NAME "]\n", "FILE:16: name of 64 bytes: expected at most 63"},
    {BASE CHANNEL "[line " LONG_NAME "]\n", "FILE:16: name of 64 bytes"},
    {BASE CHANNEL "[instrument " LONG_NAME "]\n", "FILE:16: name of 64 bytes"},
    {BASE CHANNEL "[oven " LONG_NAME "]\n", "FILE:16: name of 64 bytes"},
    {BASE CHANNEL "[channel o." LONG_NAME "]\n", "FILE:16: name of 64 bytes"},
    {BASE CHANNEL "colour = red\n", "FILE:16: unknown key 'colour' in [channel o.c]"},
    {BASE "colour = red\n" CHANNEL, "FILE:9: unknown key 'colour' in [oven o]"},
    {BASE CHANNEL "unit = F\n", "FILE:16: key 'unit' is given twice: the first is on line 15"},
    /* ledger, clock, shop */
    {"[ledger]\n", "FILE:1: [ledger] has no path"},
    {"[ledger]\npath = l\n", "FILE:2: path: 'l': expected a path from the root"},
    {LEDGER "[clock]\n", "FILE:3: [clock] has no page"},
    {LEDGER "[clock]\npage = p\n", "FILE:4: page: 'p': expected a path from the root"},
    {LEDGER "[shop]\nunits = K\n", "FILE:4: units: 'K': expected C or F"},
    {LEDGER "[shop]\npaper = A3\n", "FILE:4: paper: 'A3': expected A4 or Letter"},
    {LEDGER "[shop]\nutc_offset = 1\n", "FILE:4: utc_offset: '1': expected hours and minutes east of UTC"},
    {LEDGER "[shop]\nutc_offset = 01:00\n", "FILE:4: utc_offset: '01:00': expected"},
    {LEDGER "[shop]\nutc_offset = +01:60\n", "FILE:4: utc_offset: '+01:60': expected"},
    {LEDGER "[shop]\nutc_offset = +14:01\n", "FILE:4: utc_offset: '+14:01': expected"},
    {LEDGER "[shop]\nutc_offset = -12:01\n", "FILE:4: utc_offset: '-12:01': expected"},
    {LEDGER "[shop]\nutc_offset = +1:000\n", "FILE:4: utc_offset: '+1:000': expected"},
    /* line, instrument */
    {LEDGER "[line a]\n", "FILE:3: [line a] has no device"},
    {LEDGER "[line a]\ndevice = ttyS0\n", "FILE:4: device: 'ttyS0': expected a path from the root"},
    {LEDGER LINE "kind = usb\n", "FILE:5: kind: 'usb': expected serial or pseudo-terminal"},
    {LEDGER LINE "speed = 1920\n", "FILE:5: speed: '1920': expected 1200, 2400"},
    {LEDGER LINE "parity = mark\n", "FILE:5: parity: 'mark': expected none, even or odd"},
    {LEDGER LINE "stop_bits = 3\n", "FILE:5: stop_bits: '3' is out of range: expected a whole number from 1 to 2"},
    {LEDGER LINE "[line b]\ndevice = /dev/none\n", "FILE:6: device: the device of line 'a' already"},
    {LEDGER LINE "[instrument i]\n", "FILE:5: [instrument i] has no line"},
    {LEDGER LINE "[instrument i]\nline = b\n", "FILE:6: line: 'b' is not described: expected a section [line b]"},
    {LEDGER LINE "[instrument i]\nline = a\n", "FILE:5: [instrument i] has no address"},
    {LEDGER LINE "[instrument i]\nline = a\naddress = 0\n", "FILE:7: address: '0' is out of range"},
    {LEDGER LINE "[instrument i]\nline = a\naddress = 248\n", "FILE:7: address: '248' is out of range"},
    {LEDGER LINE INSTRUMENT "[instrument j]\nline = a\naddress = 1\n",
     "FILE:10: address: the address of instrument 'i' on the same line"},
    {LEDGER LINE INSTRUMENT "reply_within = 300\n", "FILE:8: reply_within: '300' has no unit"},
    {LEDGER LINE INSTRUMENT "reply_within = 0 s\n", "FILE:8: reply_within: out of range: expected 1 ms to 10 s"},
    {LEDGER LINE INSTRUMENT "reply_within = 11 s\n", "FILE:8: reply_within: out of range"},
    {LEDGER LINE INSTRUMENT "retries = 4\n", "FILE:8: retries: '4' is out of range"},
    /* sensor, oven */
    {LEDGER LINE INSTRUMENT "[sensor s]\ntype = Q\n", "FILE:9: type: 'Q': expected A, B, C"},
    {LEDGER LINE INSTRUMENT "[sensor s]\nfitted = 1.9.2026\n", "FILE:9: fitted: '1.9.2026' is not a moment"},
    {LEDGER LINE INSTRUMENT "[oven a.b]\n", "FILE:8: oven 'a.b': expected a name without '.'"},
    {BASE "begins_on_rise = 0 C\n", "FILE:9: begins_on_rise: no rise at all"},
    {BASE "begins_on_rise = -1 C\n", "FILE:9: begins_on_rise: '-1 C' is negative"},
    {BASE "rise_within = 0 s\n", "FILE:9: rise_within: out of range: expected 1 s to 1 d"},
    {BASE "ends_after = 2 d\n", "FILE:9: ends_after: out of range"},
    {BASE "ends_below = 60\n", "FILE:9: ends_below: '60' has no unit"},
    {BASE "silent_after = 8 d\n", "FILE:9: silent_after: out of range: expected 1 s to 7 d"},
    {BASE "lead = 3 h\n", "FILE:9: lead: out of range: expected 0 s to 2 h"},
    {BASE "idle_interval = 2 h\n", "FILE:9: idle_interval: out of range"},
    {BASE "heats_at_most = 0 C/h\n", "FILE:9: heats_at_most: an oven that cannot heat"},
    {BASE "heats_at_most = 100 C\n", "FILE:9: heats_at_most: '100 C' does not end in a known unit"},
    /* channel */
    {BASE "[channel c]\n", "FILE:9: [channel c]: expected the oven's name, a dot and the channel's"},
    {BASE "[channel .c]\n", "FILE:9: [channel .c]: expected the oven's name"},
    {BASE "[channel o.]\n", "FILE:9: [channel o.]: expected the oven's name"},
    {BASE "[channel o.a,b]\n", "FILE:9: channel 'a,b': expected a name without ','"},
    {BASE "[channel o. b]\n", "FILE:9: channel ' b': expected a name without ',' and without white space in front"},
    {BASE "[channel p.c]\n", "FILE:9: [channel p.c]: no such oven: expected a section [oven p]"},
    {BASE "[channel o.c]\n", "FILE:9: [channel o.c] has no role"},
    {BASE "[channel o.c]\nrole = charge\n", "FILE:10: role: 'charge': expected control, load, setpoint, output, "},
    {BASE "[channel o.c]\nrole = load\n", "FILE:9: [channel o.c] has no instrument"},
    {BASE "[channel o.c]\nrole = load\ninstrument = j\n", "FILE:11: instrument: 'j' is not described"},
    {BASE "[channel o.c]\nrole = load\ninstrument = i\n", "FILE:9: [channel o.c] has no function"},
    {BASE "[channel o.c]\nrole = load\ninstrument = i\nfunction = 6\n", "FILE:12: function: '6' is out of range"},
    {BASE "[channel o.c]\nrole = load\ninstrument = i\nfunction = 4\n", "FILE:9: [channel o.c] has no register"},
    {BASE "[channel o.c]\nrole = load\n" PLACE("65536"), "FILE:13: register: '65536' is out of range"},
    {BASE "[channel o.c]\nrole = load\n" PLACE("-1"), "FILE:13: register: '-1' is out of range"},
    {BASE "[channel o.c]\nrole = load\n" PLACE("0"), "FILE:9: [channel o.c] has no decimals"},
    {BASE "[channel o.c]\nrole = load\n" PLACE("0") "decimals = 1\n", "FILE:9: [channel o.c] has no unit"},
    {BASE "[channel o.c]\nrole = load\n" PLACE("0") "decimals = 7\n", "FILE:14: decimals: '7' is out of range"},
    {BASE "[channel o.c]\nrole = load\n" PLACE("0") "decimals = -4\n", "FILE:14: decimals: '-4' is out of range"},
    {BASE "[channel o.c]\nrole = load\n" PLACE("0") "decimals = 1\nunit = K\n",
     "FILE:15: unit: 'K': expected C, F or mV"},
    {BASE CHANNEL "encoding = float64\n",
     "FILE:16: encoding: 'float64': expected int16, uint16, int32, uint32 or "},
    {BASE CHANNEL "word_order = high first\n", "FILE:16: word_order: one register has no order"},
    {BASE CHANNEL "encoding = float32\n", "FILE:9: [channel o.c] has no word_order"},
    {BASE CHANNEL "encoding = float32\nword_order = up\n",
     "FILE:17: word_order: 'up': expected high first or low first"},
    {BASE "[channel o.c]\nrole = load\n" PLACE("65535") "encoding = int32\nword_order = low first\n",
     "FILE:13: register: a value of two registers begins in the last one"},
    {BASE CHANNEL "interval = 19 ms\n", "FILE:16: interval: out of range: expected 20 ms to 1 h"},
    {BASE CHANNEL "interval = 61 min\n", "FILE:16: interval: out of range"},
    {BASE CHANNEL "range = 100 C .. 0 C\n", "FILE:16: range: '100 C .. 0 C' does not rise"},
    {BASE CHANNEL "open_value = 32768\n",
     "FILE:16: open_value: '32768' is out of range: expected a whole number from -3"},
    {BASE CHANNEL "encoding = uint16\nopen_value = -1\n", "FILE:17: open_value: '-1' is out of range"},
    {BASE CHANNEL "open_value = 1,2,3,4,5\n", "FILE:16: open_value: too many: expected up to 4 whole numbers"},
    {BASE CHANNEL "open_value = 1 2\n", "FILE:16: open_value: '1 2' is not a whole number"},
    {BASE CHANNEL "open_value = 1,,2\n", "FILE:16: open_value: '' is not a whole number"},
    {BASE CHANNEL "open_value = 3276.7\n", "FILE:16: open_value: '3276.7' is not a whole number"},
    {BASE CHANNEL "open_value = 1" LONG_NAME LONG_NAME "\n", "FILE:16: open_value: list too long"},
    {BASE CHANNEL "sensor = s\n", "FILE:16: sensor: 's' is not described: expected a section [sensor s]"},
    {BASE "[sensor s]\n" CHANNEL "sensor = s\n" SECOND("load") "unit = C\nsensor = s\n",
     "FILE:25: sensor: 's' is fitted to channel 'o.c' already"},
    {BASE "[sensor s]\n" CHANNEL SECOND("output") "sensor = s\n", "FILE:23: sensor: no sensor measures the output"},
    {BASE "[sensor s]\n" CHANNEL SECOND("setpoint") "unit = C\nsensor = s\n",
     "FILE:24: sensor: no sensor measures"},
    {BASE CHANNEL SECOND("output") "unit = C\n", "FILE:22: unit: an output is in per cent"},
    {BASE CHANNEL SECOND("output") "range = 0 C .. 1 C\n",
     "FILE:22: range: an output is from -100 to 100 per cent"},
    {BASE CHANNEL "[channel o.d]\nrole = load\n" PLACE("0") "decimals = 1\nunit = C\n",
     "FILE:20: register: read by channel 'o.c' already"},
    {BASE CHANNEL "encoding = int32\nword_order = low first\n" SECOND("load") "unit = C\n",
     "FILE:22: register: read by channel 'o.c' already"},
    {BASE SECOND("load") "unit = C\n[channel o.c]\nrole = load\n" PLACE(
         "0") "encoding = int32\nword_order = low first\n"
              "decimals = 1\nunit = C\n",
     "FILE:20: register: read by channel 'o.d' already"},
    {BASE CHANNEL "over_value = 1\nopen_value = 1\n", "FILE:16: over_value: 1 is given already"},
    {BASE CHANNEL "under_value = 32768\n", "FILE:16: under_value: '32768' is out of range"},
    {BASE CHANNEL "moves_at_most = 0 C/s\n", "FILE:16: moves_at_most: cannot move at all"},
    {BASE CHANNEL "moves_at_most = 60 C\n", "FILE:16: moves_at_most: '60 C' does not end in a known unit"},
    {BASE CHANNEL "frozen_after = 0 s\n", "FILE:16: frozen_after: out of range: expected 1 s to 1 d"},
    {BASE CHANNEL "frozen_after = 1 min\n",
     "FILE:8: channel 'o.c' has frozen_after, but its oven no other channel"},
    {BASE CHANNEL SECOND("output") "frozen_after = 1 min\n", "FILE:22: frozen_after: the output is not measured"},
    {BASE CHANNEL SECOND("setpoint") "unit = C\nmoves_at_most = 1 C/s\n",
     "FILE:23: moves_at_most: the setpoint is not measured"},
    {BASE CHANNEL SECOND("ambient") "unit = C\nfrozen_after = 1 min\n",
     "FILE:23: frozen_after: nothing else tells that ambient should move"},
    /* wires */
    {LEDGER LINE "data_bits = 6\n", "FILE:5: data_bits: '6' is out of range"},
    {LEDGER LINE TEXT("rtu"), "FILE:7: wire: 'rtu': expected modbus-rtu, modbus-ascii, polled-text or free-text"},
    {LEDGER LINE "data_bits = 7\n" INSTRUMENT, "FILE:6: wire: modbus-rtu on line 'a', which has data_bits = 7"},
    {LEDGER LINE TEXT("modbus-ascii"), "FILE:5: [instrument i] has no address"},
    {LEDGER LINE INSTRUMENT "turnaround = 2 s\n", "FILE:8: turnaround: out of range"},
    {LEDGER LINE INSTRUMENT "query = T?\n", "FILE:8: query: there is none with wire modbus-rtu"},
    {LEDGER LINE INSTRUMENT "check = lrc\n", "FILE:8: check: there is none with wire modbus-rtu"},
    {LEDGER LINE INSTRUMENT "missing_after = 2\n", "FILE:8: missing_after: there is none with wire modbus-rtu"},
    {POLLED "missing_after = 2\n", "FILE:8: missing_after: there is none with wire polled-text"},
    {FREE "retries = 1\n", "FILE:8: retries: there is none with wire free-text"},
    {FREE "reply_within = 1 s\n", "FILE:8: reply_within: there is none with wire free-text"},
    {FREE "turnaround = 1 ms\n", "FILE:8: turnaround: there is none with wire free-text"},
    {FREE "query = T?\n", "FILE:8: query: there is none with wire free-text"},
    {FREE "missing_after = 0\n", "FILE:8: missing_after: '0' is out of range"},
    {FREE "text_end = none\n", "FILE:8: text_end: 'none': expected CR LF, CR, LF, LF CR or ETX"},
    {FREE "check = md5\n", "FILE:8: check: 'md5': expected none, sum, xor, lrc or crc16"},
    {FREE "separator = ,\n", "FILE:8: separator: ',': expected comma, semicolon"},
    {FREE "fields = 65\n", "FILE:8: fields: '65' is out of range"},
    {FREE "open_words = a,b,c,d,e,f,g,h,i\n", "FILE:8: open_words: too many: expected up to 8 words in all"},
    {FREE "open_words = OPEN,\n", "FILE:8: open_words: '': expected words of 1 to 15 bytes"},
    {FREE "open_words = 1234567890123456\n", "FILE:8: open_words: '1234567890123456': expected words"},
    {FREE "open_words = 9999\n", "FILE:8: open_words: '9999' is a number"},
    {FREE "open_words = OPEN\nover_words = OPEN\n", "FILE:9: over_words: 'OPEN' is given already"},
    {POLLED "query = T1=\n", "FILE:8: query: 'T1=' might set something: expected one question that ends in '?'"},
    {POLLED "query = SET 1;T?\n", "FILE:8: query: 'SET 1;T?' might set something"},
    {POLLED "query = SET 1\\nT?\n", "FILE:8: query: 'SET 1\\nT?' might set something"},
    {POLLED "query = {value}?\n", "FILE:8: query: '{value}?': expected a query without {value}"},
    {POLLED "query_is_read_only = maybe\n", "FILE:8: query_is_read_only: 'maybe': expected no or yes"},
    {POLLED OVEN PIECE("field = 1\n"), "FILE:9: [channel o.c] has no query"},
    {POLLED OVEN PIECE("query = T\nfield = 1\n"), "FILE:12: query: 'T' might set something"},
    {POLLED OVEN PIECE("query = #{address}T?\nfield = 1\n"),
     "FILE:12: query: {address} of instrument 'i', which has"},
    {POLLED OVEN PIECE("query = T?\n"), "FILE:9: [channel o.c] has no field"},
    {POLLED OVEN PIECE("query = T?\nfield = 1\npattern = {value}\n"), "FILE:14: pattern: beside a field"},
    {POLLED OVEN PIECE("query = T?\npattern = T\n"), "FILE:13: pattern: 'T': expected exactly one {value}"},
    {POLLED OVEN PIECE("query = T?\npattern = {address} {value}\n"),
     "FILE:13: pattern: {address} of instrument 'i'"},
    {POLLED OVEN PIECE("query = T?\nfield = 0\n"), "FILE:13: field: '0' is out of range"},
    {POLLED "fields = 2\n" OVEN PIECE("query = T?\nfield = 3\n"), "FILE:14: field: '3' is out of range"},
    {POLLED OVEN PIECE("query = T?\nfunction = 4\n"), "FILE:13: function: there is none with wire polled-text"},
    {POLLED OVEN PIECE("query = T?\nregister = 4\n"), "FILE:13: register: there is none with wire polled-text"},
    {POLLED OVEN PIECE("query = T?\nencoding = int16\n"), "FILE:13: encoding: there is none with wire polled-text"},
    {FREE OVEN PIECE("query = T?\nfield = 1\n"), "FILE:12: query: there is none with wire free-text"},
    {BASE CHANNEL "field = 1\n", "FILE:16: field: there is none with wire modbus-rtu"},
    {BASE CHANNEL "pattern = {value}\n", "FILE:16: pattern: there is none with wire modbus-rtu"},
    {FREE OVEN PIECE("field = 1\n") "[channel o.d]\nrole = load\ninstrument = i\nfield = 1\nunit = C\n",
     "FILE:17: field: read by channel 'o.c' already: expected one channel for each field"},
    {FREE OVEN PIECE(
         "pattern = {value}\n") "[channel o.d]\nrole = load\ninstrument = i\npattern = {value}\nunit = C\n",
     "FILE:17: pattern: read by channel 'o.c' already"},
    /* who shares a line */
    {LEDGER LINE INSTRUMENT "[instrument j]\nline = a\nwire = modbus-ascii\naddress = 2\n",
     "FILE:9: line: shared with instrument 'i': expected modbus-rtu only with modbus-rtu"},
    {LEDGER LINE INSTRUMENT "[instrument j]\nline = a\nwire = polled-text\naddress = 2\n",
     "FILE:9: line: shared with instrument 'i': expected modbus-rtu only"},
    {FREE "[instrument j]\nline = a\naddress = 2\n",
     "FILE:9: line: shared with instrument 'i': expected an instrument of wire free-text alone"},
    {LEDGER LINE INSTRUMENT "[instrument j]\nline = a\nwire = free-text\n",
     "FILE:9: line: shared with instrument 'i': expected an instrument of wire free-text alone"},
    {POLLED "query = T?\n[instrument j]\nline = a\nwire = modbus-ascii\naddress = 2\n" OVEN PIECE("field = 1\n"),
     "FILE:14: query: 'T?' is for everybody on line 'a'"},
    /* an oven and its channels */
    {BASE CHANNEL SECOND("control") "unit = C\n",
     "FILE:8: oven 'o' has 2 channels of role control: expected at most 1"},
    {BASE CHANNEL SECOND("setpoint") "unit = C\n[channel o.e]\nrole = setpoint\n" PLACE(
         "2") "decimals = 1\nunit = C\n",
     "FILE:8: oven 'o' has 2 channels of role setpoint"},
    {BASE CHANNEL SECOND("output") "[channel o.e]\nrole = output\n" PLACE("2") "decimals = 1\n",
     "FILE:8: oven 'o' has 2 channels of role output"},
    {BASE SECOND("output"), "FILE:8: oven 'o' has no channel of role control or load"},
    {BASE "[oven p]\n" CHANNEL, "FILE:9: oven 'p' has no channel of role control or load"},
};

static void the_unclear_is_refused_with_its_line(void **state) {
    (void)state;
    for (size_t i = 0; i < COUNT(refusals); i++) {
        struct fault fault = {0, ""};

        if (read_text(refusals[i].text, &fault) != NULL)
            fail_msg("taken: %s", refusals[i].text);
        if (strncmp(fault.text, refusals[i].message, strlen(refusals[i].message)) != 0)
            fail_msg("\"%s\", expected \"%s\"", fault.text, refusals[i].message);
        assert_int_equal(fault.status, EX_CONFIG);
    }
}

static void registers_may_be_the_same_where_they_are_not_one(void **state) {
    struct config *config =
        read_good(BASE CHANNEL "[channel o.d]\nrole = load\ninstrument = i\nfunction = 3\nregister = 0\n"
                               "decimals = 1\nunit = C\n"
                               "[instrument j]\nline = a\naddress = 2\n"
                               "[channel o.e]\nrole = load\ninstrument = j\nfunction = 4\nregister = 0\n"
                               "decimals = 1\nunit = C\n");

    (void)state;
    assert_int_equal(config->channel_count, 3);
    config_free(config);
}

/* As many load channels as the judge can follow, and no more; as many lines as there are places for. */
static void there_is_a_most_of_loads_and_lines(void **state) {
    char text[8192];
    struct fault fault = {0, ""};
    struct config *config;
    size_t used = (size_t)snprintf(text, sizeof text, BASE);

    (void)state;
    for (int i = 0; i < 17; i++) {
        used += (size_t)snprintf(text + used, sizeof text - used,
                                 "[channel o.%d]\nrole = load\ninstrument = i\nfunction = 4\nregister = %d\n"
                                 "decimals = 1\nunit = C\n",
                                 i, i);
        config = read_text(text, &fault);
        assert_int_equal(config != NULL, i < 16);
        config_free(config);
    }
    assert_string_equal(fault.text, "FILE:8: oven 'o' has 17 channels of role load: expected at most 16");
    used = (size_t)snprintf(text, sizeof text, BASE CHANNEL);
    for (int i = 0; i < 32; i++) {
        used += (size_t)snprintf(text + used, sizeof text - used, "[line %d]\ndevice = /dev/none%d\n", i, i);
        config = read_text(text, &fault);
        assert_int_equal(config != NULL, i < 31);
        config_free(config);
    }
    assert_string_equal(fault.text, "FILE:78: too many lines: expected at most 32");
}

static void a_file_that_is_not_there_is_named(void **state) {
    struct fault fault = {0, ""};

    (void)state;
    assert_null(config_read("/no/such.conf", &fault));
    assert_int_equal(fault.status, EX_NOINPUT);
    assert_string_equal(fault.text, "/no/such.conf: cannot be opened: No such file or directory");
}

/* The good configuration with one line lost or doubled: never a crash, and a refusal names a line of the file. */
static void damage_is_refused_with_a_line_or_harmless(void **state) {
    static const char text[] =
        BASE "[sensor s]\n" CHANNEL "sensor = s\nopen_value = 1, 2\n" SECOND("load") "unit = C\n";
    const size_t length = strlen(text);
    int refused = 0;

    (void)state;
    for (size_t cut = 0; cut < length; cut++) {
        char damaged[sizeof text + 1];
        struct fault fault = {0, ""};
        struct config *config;
        int line = 0;

        memcpy(damaged, text, cut); // one byte lost
        memcpy(damaged + cut, text + cut + 1, length - cut);
        config = read_text(damaged, &fault);
        if (config == NULL && (sscanf(fault.text, "FILE:%d: ", &line) != 1 || line < 1 || line > 30))
            fail_msg("\"%s\"", fault.text);
        refused += config == NULL;
        config_free(config);
    }
    assert_in_range((uint64_t)refused, length / 2, length - 1);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_example_is_accepted),
        cmocka_unit_test(defaults_are_what_the_manual_says),
        cmocka_unit_test(defaults_of_text_are_what_the_manual_says),
        cmocka_unit_test(every_key_of_text_arrives),
        cmocka_unit_test(every_key_of_shop_line_and_oven_arrives),
        cmocka_unit_test(every_key_of_alerts_arrives),
        cmocka_unit_test(every_key_of_a_channel_arrives),
        cmocka_unit_test(sections_may_stand_in_any_order),
        cmocka_unit_test(a_pseudo_terminal_is_recognised),
        cmocka_unit_test(the_unclear_is_refused_with_its_line),
        cmocka_unit_test(registers_may_be_the_same_where_they_are_not_one),
        cmocka_unit_test(there_is_a_most_of_loads_and_lines),
        cmocka_unit_test(a_file_that_is_not_there_is_named),
        cmocka_unit_test(damage_is_refused_with_a_line_or_harmless),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
