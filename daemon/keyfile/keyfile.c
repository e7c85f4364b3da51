// SPDX-License-Identifier: MIT
/* Reads a keyfile through libinih, line by line from a reader of our own: the reader knows the line's number,
 * which Debian's libinih does not tell its handler, and sees what libinih passes over in silence (a header
 * without keys, a header it cuts at 50 bytes, a line cut at its buffer's end, a line that is no entry). */
#include "soakledger/keyfile.h"

#include <ini.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "soakledger/quantity.h"

enum {
    FILE_MOST_BYTES = 1 << 20,
    SECTIONS_MOST = 4096, // keeps the search for one given twice quick, and is more than any shop has
    KEYS_MOST = 128,      // in a section; likewise
    LINE_END_BYTES = 2,   // the newline and terminator that libinih's buffer must hold beside the line
};

struct entry {
    char *key;
    char *value;
    int line;
    bool taken;
};

struct keyfile_section {
    struct keyfile *file;
    char *kind;
    char *name;
    int line;
    size_t entry_count;
    struct entry *entries;
};

struct keyfile {
    char *text;
    size_t length;
    char *name;
    size_t section_count;
    struct keyfile_section *sections;
};

/* Where reading stands. */
struct reader {
    struct keyfile *file;
    const char *at, *end;
    int line;
    bool entry_due; // the line handed out last must come back as an entry
    bool failed;
    struct fault *fault;
};

int keyfile_fault(const struct keyfile *file, int line, struct fault *fault, const char *format, ...) {
    char text[FAULT_TEXT_BYTES];
    va_list args;

    va_start(args, format);
    vsnprintf(text, sizeof text, format, args);
    va_end(args);
    if (line > 0)
        return fault_set(fault, EX_CONFIG, "%s:%d: %s", file->name, line, text);
    return fault_set(fault, EX_CONFIG, "%s: %s", file->name, text);
}

/* Makes room for one more element behind `count`; the arrays are short-lived in growth, so one at a time
 * up to a power of two. */
static void *grow(void *array, size_t count, size_t size) {
    if (count > 0 && (count & (count - 1)) != 0)
        return array;
    return reallocarray(array, count > 0 ? count * 2 : 1, size);
}

static int refuse_memory(struct fault *fault) {
    return fault_set(fault, EX_OSERR, "out of memory");
}

/* Length of the UTF-8 character at `text`, or 0 if there is none (Unicode 15, table 3-7). */
static size_t utf8_length(const unsigned char *text, size_t left) {
    static const struct {
        unsigned char first, last; // lead byte
        unsigned char least, most; // second byte
        size_t length;
    } forms[] = {
        {0xC2, 0xDF, 0x80, 0xBF, 2}, {0xE0, 0xE0, 0xA0, 0xBF, 3}, {0xE1, 0xEC, 0x80, 0xBF, 3},
        {0xED, 0xED, 0x80, 0x9F, 3}, {0xEE, 0xEF, 0x80, 0xBF, 3}, {0xF0, 0xF0, 0x90, 0xBF, 4},
        {0xF1, 0xF3, 0x80, 0xBF, 4}, {0xF4, 0xF4, 0x80, 0x8F, 4},
    };

    if (text[0] < 0x80)
        return 1;
    for (size_t i = 0; i < sizeof forms / sizeof *forms; i++) {
        if (text[0] < forms[i].first || text[0] > forms[i].last)
            continue;
        if (left < forms[i].length || text[1] < forms[i].least || text[1] > forms[i].most)
            return 0;
        for (size_t k = 2; k < forms[i].length; k++)
            if ((text[k] & 0xC0) != 0x80)
                return 0;
        return forms[i].length;
    }
    return 0;
}

/* What is wrong with the bytes of a line, or NULL. */
static const char *find_bad_byte(const char *line, size_t length) {
    const unsigned char *text = (const unsigned char *)line;
    const unsigned char delete = 0x7F;

    for (size_t i = 0; i < length;) {
        const size_t step = utf8_length(text + i, length - i);

        if (step == 0)
            return "a byte that is part of no character";
        if ((text[i] < ' ' && text[i] != '\t') || text[i] == delete ||
            (step == 2 && text[i] == 0xC2 && text[i + 1] < 0xA0)) // U+0080 to U+009F
            return text[i] == '\0' ? "a NUL byte" : "a control character";
        i += step;
    }
    return NULL;
}

static bool is_blank(char byte) {
    return byte == ' ' || byte == '\t';
}

/* Cuts white space and an inline comment (white space and ';') off the end. */
static size_t length_without_comment(const char *line, size_t length) {
    for (size_t i = 1; i < length; i++)
        if (line[i] == ';' && is_blank(line[i - 1]))
            length = i;
    while (length > 0 && is_blank(line[length - 1]))
        length--;
    return length;
}

static int add_section(struct reader *reader, const char *kind, size_t kind_length, const char *name,
                       size_t name_length) {
    struct keyfile *file = reader->file;
    struct keyfile_section *section;
    void *grown;

    if (file->section_count == SECTIONS_MOST)
        return keyfile_fault(file, reader->line, reader->fault, "too many sections: expected at most %d",
                             SECTIONS_MOST);
    if ((grown = grow(file->sections, file->section_count, sizeof *file->sections)) == NULL)
        return refuse_memory(reader->fault);
    file->sections = grown;
    section = &file->sections[file->section_count++];
    *section = (struct keyfile_section){
        .file = file, .line = reader->line, .kind = strndup(kind, kind_length), .name = strndup(name, name_length)};
    if (section->kind == NULL || section->name == NULL)
        return refuse_memory(reader->fault);
    for (size_t i = 0; i + 1 < file->section_count; i++)
        if (strcmp(file->sections[i].kind, section->kind) == 0 &&
            strcmp(file->sections[i].name, section->name) == 0)
            return keyfile_fault(file, reader->line, reader->fault,
                                 "section [%s%s%s] is given twice: the first is on line %d", section->kind,
                                 section->name[0] != '\0' ? " " : "", section->name, file->sections[i].line);
    return 0;
}

/* A line that begins with '['. */
static int read_header(struct reader *reader, const char *line, size_t length) {
    const char *kind = line + 1, *end, *name;

    length = length_without_comment(line, length);
    end = line + length - 1;
    if (memchr(line, ']', length) != end || memchr(kind, '[', (size_t)(end - kind)) != NULL)
        return keyfile_fault(reader->file, reader->line, reader->fault,
                             "not a section header: expected [kind] or [kind name] and nothing else");
    while (end > kind && is_blank(end[-1]))
        end--;
    if (kind == end || is_blank(*kind))
        return keyfile_fault(reader->file, reader->line, reader->fault,
                             "a section without a kind: expected [kind] or [kind name]");
    for (name = kind; name < end && !is_blank(*name);)
        name++;
    length = (size_t)(name - kind);
    while (name < end && is_blank(*name))
        name++;
    return add_section(reader, kind, length, name, (size_t)(end - name));
}

/* A line that is none of the others. libinih would take ':' for '=', and a value without a key. */
static int check_entry(struct reader *reader, const char *line, size_t length) {
    const char *equals = memchr(line, '=', length), *colon = memchr(line, ':', length);

    if (reader->file->section_count == 0)
        return keyfile_fault(reader->file, reader->line, reader->fault,
                             "text before the first section: expected a header such as [kind name]");
    if (equals == NULL || equals == line || (colon != NULL && colon < equals))
        return keyfile_fault(reader->file, reader->line, reader->fault,
                             "neither header, entry nor comment: expected key = value");
    reader->entry_due = true;
    return 0;
}

/* Checks one line and says through `entry_due` whether libinih must find an entry in it. */
static int check_line(struct reader *reader, const char *line, size_t length, size_t most) {
    const struct keyfile *file = reader->file;
    const char *bad;
    size_t indent = 0;

    reader->entry_due = false;
    if (length > most)
        return keyfile_fault(file, reader->line, reader->fault, "line of %zu bytes: expected at most %zu", length,
                             most);
    if ((bad = find_bad_byte(line, length)) != NULL)
        return keyfile_fault(file, reader->line, reader->fault, "%s: expected UTF-8 text", bad);
    while (indent < length && is_blank(line[indent]))
        indent++;
    if (indent == length || line[indent] == ';' || line[indent] == '#')
        return 0;
    if (indent > 0)
        return keyfile_fault(file, reader->line, reader->fault,
                             "white space before the text: expected key and value on one line, from its "
                             "beginning");
    if (line[0] == '[')
        return read_header(reader, line, length);
    return check_entry(reader, line, length_without_comment(line, length));
}

/* libinih's ini_reader: the next line, checked, or NULL at the end and at a fault. */
static char *read_line(char *buffer, int size, void *stream) {
    struct reader *reader = stream;
    const char *line = reader->at, *end;
    size_t length;

    if (reader->entry_due && !reader->failed) {
        keyfile_fault(reader->file, reader->line, reader->fault, "not understood: expected key = value");
        reader->failed = true;
    }
    if (reader->failed || line == reader->end)
        return NULL;
    end = memchr(line, '\n', (size_t)(reader->end - line));
    reader->at = end != NULL ? end + 1 : reader->end;
    reader->line++;
    length = (size_t)((end != NULL ? end : reader->end) - line);
    if (length > 0 && line[length - 1] == '\r')
        length--;
    if (check_line(reader, line, length, (size_t)size - LINE_END_BYTES) != 0) {
        reader->failed = true;
        return NULL;
    }
    memcpy(buffer, line, length);
    memcpy(buffer + length, "\n", LINE_END_BYTES);
    return buffer;
}

static int add_entry(struct reader *reader, const char *key, const char *value) {
    struct keyfile_section *section = &reader->file->sections[reader->file->section_count - 1];
    struct entry *entry;
    void *grown;

    if (value[0] == '\0')
        return keyfile_fault(reader->file, reader->line, reader->fault, "%s: no value: expected %s = value", key,
                             key);
    if (section->entry_count == KEYS_MOST)
        return keyfile_fault(reader->file, reader->line, reader->fault,
                             "too many keys in [%s]: expected at most %d", section->kind, KEYS_MOST);
    for (size_t i = 0; i < section->entry_count; i++)
        if (strcmp(section->entries[i].key, key) == 0)
            return keyfile_fault(reader->file, reader->line, reader->fault,
                                 "key '%s' is given twice: the first is on line %d", key, section->entries[i].line);
    if ((grown = grow(section->entries, section->entry_count, sizeof *section->entries)) == NULL)
        return refuse_memory(reader->fault);
    section->entries = grown;
    entry = &section->entries[section->entry_count++];
    *entry = (struct entry){.key = strdup(key), .value = strdup(value), .line = reader->line};
    return entry->key != NULL && entry->value != NULL ? 0 : refuse_memory(reader->fault);
}

/* libinih's ini_handler. Its section is not used: it is cut at 50 bytes. */
static int take_entry(void *user, const char *section, const char *key, const char *value) {
    struct reader *reader = user;

    (void)section;
    if (reader->failed || !reader->entry_due)
        return 0;
    reader->entry_due = false;
    reader->failed = add_entry(reader, key, value) != 0;
    return !reader->failed;
}

struct keyfile *keyfile_parse(const char *text, size_t length, const char *name, struct fault *fault) {
    static const char byte_order_mark[] = "\xEF\xBB\xBF";
    const size_t mark_length = sizeof byte_order_mark - 1;
    struct reader reader = {.fault = fault};
    struct keyfile *file = calloc(1, sizeof *file);
    int status;

    if (file == NULL || (file->name = strdup(name)) == NULL) {
        refuse_memory(fault);
        goto failed;
    }
    if (length > FILE_MOST_BYTES) {
        keyfile_fault(file, 0, fault, "file of %zu bytes: expected at most 1 MiB", length);
        goto failed;
    }
    if ((file->text = calloc(length + 1, 1)) == NULL) {
        refuse_memory(fault);
        goto failed;
    }
    if (length > 0)
        memcpy(file->text, text, length);
    file->length = length;
    reader.file = file;
    reader.at = file->text;
    reader.end = file->text + length;
    if (length >= mark_length && memcmp(file->text, byte_order_mark, mark_length) == 0)
        reader.at += mark_length;
    status = ini_parse_stream(read_line, &reader, take_entry, &reader);
    if (status != 0 && !reader.failed) {
        keyfile_fault(file, status > 0 ? status : 0, fault, "not understood: expected [kind name] or key = value");
        reader.failed = true;
    }
    if (!reader.failed)
        return file;
failed:
    keyfile_free(file);
    return NULL;
}

struct keyfile *keyfile_read_stream(FILE *stream, const char *path, struct fault *fault) {
    struct keyfile *file = NULL;
    char *text = NULL;
    size_t length = 0;

    if ((text = malloc(FILE_MOST_BYTES + 1)) == NULL) {
        refuse_memory(fault);
        goto done;
    }
    length = fread(text, 1, FILE_MOST_BYTES + 1, stream);
    if (ferror(stream)) {
        fault_set_errno(fault, EX_NOINPUT, "%s: cannot be read", path);
        goto done;
    }
    if (length > FILE_MOST_BYTES) {
        fault_set(fault, EX_CONFIG, "%s: file of more than 1 MiB: expected at most 1 MiB", path);
        goto done;
    }
    file = keyfile_parse(text, length, path, fault);
done:
    free(text);
    return file;
}

struct keyfile *keyfile_read(const char *path, struct fault *fault) {
    FILE *stream = fopen(path, "re");
    struct keyfile *file;

    if (stream == NULL) {
        fault_set_errno(fault, EX_NOINPUT, "%s: cannot be opened", path);
        return NULL;
    }
    file = keyfile_read_stream(stream, path, fault);
    fclose(stream);
    return file;
}

void keyfile_free(struct keyfile *file) {
    if (file == NULL)
        return;
    for (size_t i = 0; i < file->section_count; i++) {
        struct keyfile_section *section = &file->sections[i];

        for (size_t k = 0; k < section->entry_count; k++) {
            free(section->entries[k].key);
            free(section->entries[k].value);
        }
        free(section->entries);
        free(section->kind);
        free(section->name);
    }
    free(file->sections);
    free(file->name);
    free(file->text);
    free(file);
}

const char *keyfile_text(const struct keyfile *file, size_t *length) {
    if (length != NULL)
        *length = file->length;
    return file->text;
}

const char *keyfile_name(const struct keyfile *file) {
    return file->name;
}

size_t keyfile_count_sections(const struct keyfile *file) {
    return file->section_count;
}

struct keyfile_section *keyfile_section(struct keyfile *file, size_t index) {
    return &file->sections[index];
}

const char *keyfile_section_kind(const struct keyfile_section *section) {
    return section->kind;
}

const char *keyfile_section_name(const struct keyfile_section *section) {
    return section->name;
}

int keyfile_section_line(const struct keyfile_section *section) {
    return section->line;
}

const char *keyfile_take(struct keyfile_section *section, const char *key, int *line) {
    for (size_t i = 0; i < section->entry_count; i++) {
        struct entry *entry = &section->entries[i];

        if (strcmp(entry->key, key) != 0)
            continue;
        entry->taken = true;
        if (line != NULL)
            *line = entry->line;
        return entry->value;
    }
    return NULL;
}

int keyfile_refuse_unknown(const struct keyfile *file, struct fault *fault) {
    for (size_t i = 0; i < file->section_count; i++) {
        const struct keyfile_section *section = &file->sections[i];

        for (size_t k = 0; k < section->entry_count; k++)
            if (!section->entries[k].taken)
                return keyfile_fault(file, section->entries[k].line, fault, "unknown key '%s' in [%s%s%s]",
                                     section->entries[k].key, section->kind, section->name[0] != '\0' ? " " : "",
                                     section->name);
    }
    return 0;
}

/* Typed takes: a key's value through one of quantity's parsers, its fault with file, line and key in front. */

/* The rest of a take, once the parser has said `parsed`. */
static int conclude(const struct keyfile_section *s, const char *key, int line, int parsed, struct fault *fault) {
    char why[FAULT_TEXT_BYTES];

    if (parsed == 0)
        return 1;
    snprintf(why, sizeof why, "%s", fault->text);
    return keyfile_fault(s->file, line, fault, "%s: %s", key, why);
}

int keyfile_take_temperature(struct keyfile_section *s, const char *key, int64_t *mc, struct fault *fault) {
    int line;
    const char *value = keyfile_take(s, key, &line);

    return value == NULL ? 0 : conclude(s, key, line, quantity_parse_temperature(value, mc, fault), fault);
}

int keyfile_take_difference(struct keyfile_section *s, const char *key, int64_t *mc, struct fault *fault) {
    int line;
    const char *value = keyfile_take(s, key, &line);

    return value == NULL ? 0 : conclude(s, key, line, quantity_parse_difference(value, mc, fault), fault);
}

int keyfile_take_duration(struct keyfile_section *s, const char *key, int64_t *ms, struct fault *fault) {
    int line;
    const char *value = keyfile_take(s, key, &line);

    return value == NULL ? 0 : conclude(s, key, line, quantity_parse_duration(value, ms, fault), fault);
}

int keyfile_take_rate(struct keyfile_section *s, const char *key, int64_t *mc_per_h, struct fault *fault) {
    int line;
    const char *value = keyfile_take(s, key, &line);

    return value == NULL ? 0 : conclude(s, key, line, quantity_parse_rate(value, mc_per_h, fault), fault);
}

int keyfile_take_span(struct keyfile_section *s, const char *key, int64_t *low_mc, int64_t *high_mc,
                      struct fault *fault) {
    int line;
    const char *value = keyfile_take(s, key, &line);

    return value == NULL ? 0 : conclude(s, key, line, quantity_parse_span(value, low_mc, high_mc, fault), fault);
}

int keyfile_take_integer(struct keyfile_section *s, const char *key, int64_t least, int64_t most, int64_t *number,
                         struct fault *fault) {
    int line;
    const char *value = keyfile_take(s, key, &line);

    return value == NULL ? 0
                         : conclude(s, key, line, quantity_parse_integer(value, least, most, number, fault), fault);
}

int keyfile_take_date(struct keyfile_section *s, const char *key, int64_t *t_ms, struct fault *fault) {
    int line;
    const char *value = keyfile_take(s, key, &line);

    return value == NULL ? 0 : conclude(s, key, line, quantity_parse_time(value, t_ms, fault), fault);
}

int keyfile_take_word(struct keyfile_section *s, const char *key, const char *const *words, int *index,
                      struct fault *fault) {
    char list[FAULT_TEXT_BYTES] = "";
    size_t used = 0;
    int line;
    const char *value = keyfile_take(s, key, &line);

    if (value == NULL)
        return 0;
    for (int i = 0; words[i] != NULL; i++) {
        if (strcmp(words[i], value) == 0) {
            *index = i;
            return 1;
        }
        if (used < sizeof list)
            used += (size_t)snprintf(list + used, sizeof list - used, "%s%s",
                                     i == 0                 ? ""
                                     : words[i + 1] == NULL ? " or "
                                                            : ", ",
                                     words[i]);
    }
    return keyfile_fault(s->file, line, fault, "%s: '%s': expected %s", key, value, list);
}

int keyfile_require(struct keyfile_section *s, const char *key, int taken, const char *example,
                    struct fault *fault) {
    if (taken != 0)
        return taken > 0 ? 0 : -1;
    return keyfile_fault(s->file, s->line, fault, "[%s%s%s] has no %s: expected a line such as %s = %s", s->kind,
                         s->name[0] != '\0' ? " " : "", s->name, key, key, example);
}

int keyfile_refuse(struct keyfile_section *s, const char *key, struct fault *fault, const char *format, ...) {
    char text[FAULT_TEXT_BYTES];
    int line = s->line;
    va_list args;

    keyfile_take(s, key, &line);
    va_start(args, format);
    vsnprintf(text, sizeof text, format, args);
    va_end(args);
    return keyfile_fault(s->file, line, fault, "%s: %s", key, text);
}
