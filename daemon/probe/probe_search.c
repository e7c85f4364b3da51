// SPDX-License-Identifier: MIT
#include <assert.h>
#include <stdio.h>
#include <string.h>

#include "soakledger/probe.h"

/* Even parity at 19,200 baud is what MODBUS over Serial Line, section 2.5.1, asks of every device; no parity at
 * 9,600 and the order of the rest are common practice, no source. */
static const struct probe_setting LIKELIEST[] = {{19200, PARITY_EVEN, 1}, {9600, PARITY_NONE, 1}};
static const int SPEEDS[] = {19200, 9600, 38400, 115200, 57600, 4800, 2400, 1200};
static const struct probe_setting LIKELY[] = {{0, PARITY_EVEN, 1}, {0, PARITY_NONE, 1}};
static const struct probe_setting RARE[] = {{0, PARITY_NONE, 2}, {0, PARITY_ODD, 1}};

enum { SPEED_COUNT = sizeof SPEEDS / sizeof SPEEDS[0], FORMAT_COUNT = sizeof LIKELY / sizeof LIKELY[0] };
static_assert(SPEED_COUNT * 2 * FORMAT_COUNT <= PROBE_SETTINGS, "every setting has its place");
static_assert(sizeof RARE == sizeof LIKELY, "both are gone through in one loop");

char *probe_name_setting(const struct probe_setting *setting, char *out) {
    static const char letters[] = {[PARITY_NONE] = 'N', [PARITY_EVEN] = 'E', [PARITY_ODD] = 'O'};

    snprintf(out, PROBE_TEXT_BYTES, "%d 8%c%d", setting->speed_baud, letters[setting->parity], setting->stop_bits);
    return out;
}

static bool is_wished(const struct probe_wish *wish, const struct probe_setting *setting) {
    return (wish->speed_baud == 0 || wish->speed_baud == setting->speed_baud) &&
           (!wish->parity_known || wish->parity == setting->parity) &&
           (wish->stop_bits == 0 || wish->stop_bits == setting->stop_bits);
}

static void add(struct probe_search *search, const struct probe_wish *wish, struct probe_setting setting) {
    if (!is_wished(wish, &setting) || (wish->one_setting && search->setting_count > 0))
        return;
    for (size_t i = 0; i < search->setting_count; i++)
        if (memcmp(&search->settings[i], &setting, sizeof setting) == 0)
            return;
    assert(search->setting_count < PROBE_SETTINGS);
    search->settings[search->setting_count++] = setting;
}

static void add_formats(struct probe_search *search, const struct probe_wish *wish,
                        const struct probe_setting *formats) {
    for (size_t i = 0; i < SPEED_COUNT; i++) {
        for (size_t k = 0; k < FORMAT_COUNT; k++) {
            struct probe_setting setting = formats[k];

            // A speed that is not in the list takes the place of each that is: doubles are dropped.
            setting.speed_baud = wish->speed_baud != 0 ? wish->speed_baud : SPEEDS[i];
            add(search, wish, setting);
        }
    }
}

/* A form that is not in the lists, such as even parity with two stop bits. */
static void add_odd_form(struct probe_search *search, const struct probe_wish *wish) {
    for (size_t i = 0; i < SPEED_COUNT; i++)
        add(search, wish,
            (struct probe_setting){.speed_baud = wish->speed_baud != 0 ? wish->speed_baud : SPEEDS[i],
                                   .parity = wish->parity_known ? wish->parity : PARITY_EVEN,
                                   .stop_bits = wish->stop_bits != 0 ? wish->stop_bits : 1});
}

void probe_begin_search(struct probe_search *search, const struct probe_wish *wish) {
    *search =
        (struct probe_search){.functions = {MODBUS_READ_HOLDING, MODBUS_READ_INPUT},
                              .function_count = 2,
                              .first_address = 1,
                              .last_address = wish->all_addresses ? PROBE_LAST_ADDRESS : PROBE_FIRST_ADDRESSES};
    if (wish->function != 0) {
        search->functions[0] = (uint8_t)wish->function;
        search->function_count = 1;
    }
    if (wish->address != 0)
        search->first_address = search->last_address = wish->address;
    search->address = search->first_address;
    for (size_t i = 0; i < sizeof LIKELIEST / sizeof LIKELIEST[0]; i++)
        add(search, wish, LIKELIEST[i]);
    add_formats(search, wish, LIKELY);
    add_formats(search, wish, RARE);
    if (search->setting_count == 0)
        add_odd_form(search, wish);
}

bool probe_next_try(const struct probe_search *search, struct probe_try *next) {
    if (search->function == search->function_count)
        return false;
    *next = (struct probe_try){.setting = search->settings[search->setting],
                               .address = search->address,
                               .function = search->functions[search->function]};
    return true;
}

/* On to the next address that has not answered, and at the last one to the next setting. */
static void advance(struct probe_search *search) {
    do {
        if (search->address < search->last_address) {
            search->address++;
            continue;
        }
        search->address = search->first_address;
        if (!search->found_any && ++search->setting < search->setting_count)
            continue;
        if (!search->found_any)
            search->setting = 0;
        search->function++;
    } while (search->function < search->function_count && search->found[search->address] != 0);
}

void probe_note_silence(struct probe_search *search) {
    advance(search);
}

void probe_note_answer(struct probe_search *search, int address) {
    assert(address >= 1 && address <= PROBE_LAST_ADDRESS);
    assert(search->function < search->function_count);
    search->found_any = true;
    if (search->found[address] == 0)
        search->found[address] = search->functions[search->function];
    // A late answer of another leaves this address without one of its own: it is asked again.
    if (address == search->address)
        advance(search);
}

size_t probe_count_tries(const struct probe_search *search) {
    const size_t addresses = (size_t)(search->last_address - search->first_address) + 1;
    const size_t settings = search->found_any ? 1 : search->setting_count;
    const size_t done =
        (size_t)(search->address - search->first_address) + (search->found_any ? 0 : search->setting * addresses);

    if (search->function == search->function_count)
        return 0;
    return (search->function_count - search->function) * settings * addresses - done;
}
