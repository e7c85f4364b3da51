// SPDX-License-Identifier: MIT
/* Puts the file together: libharu's objects under their own numbers, then ours, the attached files last, then the
 * signature, the table and the trailer. */
#include <stdlib.h>
#include <string.h>

#include "pdf_parts.h"

/* Bytes of every file that are no ASCII, so that whoever copies it sees that it is binary (ISO 32000-1, 7.5.2). */
static const char HEADER[] = "%PDF-1.7\n%\xE2\xE3\xCF\xD3\n";
/* Height of the capitals of the embedded faces, DejaVu: 1493 of 2048 units in their OS/2 table. libharu leaves it
 * out, and a descriptor must have it (ISO 32000-1, table 122). */
static const char CAP_HEIGHT[] = "/CapHeight 729\n";
static const char RANGE_BLANK[] = "0 0000000000 0000000000 0000000000";
enum { PRINTED = 4, LOCKED = 128 }; // flags of an annotation (ISO 32000-1, table 165)

/* Numbers of our own objects, after libharu's. */
struct pdf_plan {
    size_t metadata, icc, intent, field, appearance, signature;
    size_t first_specification, first_file;
    size_t most;
};

struct pdf_make {
    struct pdf_out out;
    struct pdf_taken taken;
    struct pdf_plan plan;
    const struct pdf_about *about;
    const struct pdf_file *files;
    size_t count;
    const struct key *key;
    struct pdf_hole hole;
};

static void pdf_number_objects(struct pdf_make *make) {
    struct pdf_plan *plan = &make->plan;
    size_t next = make->taken.count;

    plan->metadata = next++;
    plan->icc = next++;
    plan->intent = next++;
    plan->field = make->key != NULL ? next++ : 0;
    plan->appearance = make->key != NULL ? next++ : 0;
    plan->signature = make->key != NULL ? next++ : 0;
    plan->first_specification = next;
    next += make->count;
    plan->first_file = next;
    next += make->count;
    plan->most = next - 1;
}

/* ---- libharu's objects ---- */

/* The object with `added` put in before its dictionary's last ">>". */
static void pdf_put_with(struct pdf_make *make, size_t object, const char *added) {
    const struct pdf_span span = make->taken.objects[object];
    size_t end = span.length - 1;

    while (end > 0 && memcmp(span.from + end - 1, ">>", 2) != 0)
        end--;
    end = end > 0 ? end - 1 : span.length;
    make->out.offsets[object] = make->out.at;
    pdf_put(&make->out, span.from, end);
    pdf_print(&make->out, "%s", added);
    pdf_put(&make->out, span.from + end, span.length - end);
}

static int pdf_compare_names(const void *a, const void *b) {
    const struct pdf_file *const *x = a, *const *y = b;

    return strcmp((*x)->name, (*y)->name);
}

/* The name tree wants its names in order (ISO 32000-1, 7.9.6). */
static void pdf_put_names(struct pdf_make *make) {
    const struct pdf_file *sorted[PDF_MOST_FILES] = {NULL};

    for (size_t i = 0; i < make->count; i++)
        sorted[i] = &make->files[i];
    // NOLINTNEXTLINE(bugprone-sizeof-expression): an array of pointers
    qsort(sorted, make->count, sizeof sorted[0], pdf_compare_names);
    pdf_print(&make->out, "/Names << /EmbeddedFiles << /Names [");
    for (size_t i = 0; i < make->count; i++)
        pdf_print(&make->out, " (%s) %zu 0 R", sorted[i]->name,
                  make->plan.first_specification + (size_t)(sorted[i] - make->files));
    pdf_print(&make->out, " ] >> >>\n/AF [");
    for (size_t i = 0; i < make->count; i++)
        pdf_print(&make->out, " %zu 0 R", make->plan.first_specification + i);
    pdf_print(&make->out, " ]\n");
}

static void pdf_put_catalog(struct pdf_make *make) {
    struct pdf_out *out = &make->out;
    const struct pdf_span span = make->taken.objects[make->taken.root];
    const size_t end = pdf_span_find(span, ">>\nendobj");

    out->offsets[make->taken.root] = out->at;
    pdf_put(out, span.from, end);
    pdf_print(out, "/Lang (en)\n/Metadata %zu 0 R\n/OutputIntents [ %zu 0 R ]\n", make->plan.metadata,
              make->plan.intent);
    if (make->count > 0)
        pdf_put_names(make);
    if (make->key != NULL) // SigFlags: there is a signature, and the file is only to be appended to
        pdf_print(out, "/AcroForm << /Fields [ %zu 0 R ] /SigFlags 3 >>\n", make->plan.field);
    pdf_print(out, ">>\n");
    pdf_end(out);
}

static void pdf_put_info(struct pdf_make *make) {
    struct pdf_out *out = &make->out;
    const struct pdf_about *about = make->about;

    pdf_begin(out, make->taken.info);
    pdf_print(out, "<< /Title ");
    pdf_put_text(out, about->title);
    if (about->author[0] != '\0') {
        pdf_print(out, " /Author ");
        pdf_put_text(out, about->author);
    }
    pdf_print(out, " /Creator ");
    pdf_put_text(out, about->program);
    pdf_print(out, " /Producer (%s) /CreationDate ", PDF_PRODUCER);
    pdf_put_date(out, about->made_ms);
    pdf_print(out, " /ModDate ");
    pdf_put_date(out, about->made_ms);
    pdf_print(out, " >>\n");
    pdf_end(out);
}

/* libharu's map to characters says it with operators that such a map must not have. */
static int pdf_put_unicode_map(struct pdf_make *make, size_t object, struct fault *fault) {
    size_t length = 0;
    char *map = pdf_make_unicode_map(&length);
    int result;

    if (map == NULL)
        return fault_set(fault, EX_OSERR, "not enough memory for a font's map");
    result = pdf_put_stream(&make->out, object, "", map, length, false, fault);
    free(map);
    return result;
}

/* "(Identity-H)" is the name of an encoding; the collection of characters is called "(Identity)". */
static void pdf_put_font(struct pdf_make *make, size_t object) {
    static const char wrong[] = "/Ordering (Identity-H)", right[] = "/Ordering (Identity)";
    const struct pdf_span span = make->taken.objects[object];
    const size_t at = pdf_span_find(span, wrong);

    make->out.offsets[object] = make->out.at;
    pdf_put(&make->out, span.from, at);
    if (at < span.length) {
        pdf_put(&make->out, right, strlen(right));
        pdf_put(&make->out, span.from + at + strlen(wrong), span.length - at - strlen(wrong));
    }
}

/* The field's annotation has no place on the page, but belongs to one. */
static void pdf_put_first_page(struct pdf_make *make) {
    char added[64];

    snprintf(added, sizeof added, "/Annots [ %zu 0 R ]\n", make->plan.field);
    pdf_put_with(make, make->taken.first_page, make->key != NULL ? added : "");
}

static int pdf_put_taken(struct pdf_make *make, struct fault *fault) {
    for (size_t i = 1; i < make->taken.count; i++) {
        const struct pdf_span span = make->taken.objects[i];
        const struct pdf_span head = {span.from, pdf_span_find(span, "stream\r\n")};

        if (i == make->taken.root)
            pdf_put_catalog(make);
        else if (i == make->taken.info)
            pdf_put_info(make);
        else if (i == make->taken.first_page)
            pdf_put_first_page(make);
        else if (pdf_span_has(head, "/Type /CMap") && pdf_put_unicode_map(make, i, fault) != 0)
            return -1;
        else if (pdf_span_has(head, "/Type /CMap"))
            continue;
        else if (pdf_span_has(head, "/Subtype /CIDFontType2"))
            pdf_put_font(make, i);
        else if (pdf_span_has(head, "/Type /FontDescriptor") && !pdf_span_has(head, "/CapHeight"))
            pdf_put_with(make, i, CAP_HEIGHT);
        else
            pdf_put_with(make, i, "");
    }
    return 0;
}

/* ---- ours ---- */

static int pdf_put_archive(struct pdf_make *make, struct fault *fault) {
    unsigned char icc[PDF_ICC_MOST_BYTES];
    const size_t icc_bytes = pdf_make_icc(icc, sizeof icc);
    size_t length = 0;
    char *xmp = pdf_make_xmp(make->about, &length);
    int result = -1;

    if (xmp == NULL)
        fault_set(fault, EX_OSERR, "not enough memory for metadata");
    else if (icc_bytes == 0)
        fault_set(fault, EX_SOFTWARE, "the colour profile does not fit");
    else if (pdf_put_stream(&make->out, make->plan.metadata, "/Type /Metadata /Subtype /XML ", xmp, length, true,
                            fault) == 0)
        result = pdf_put_stream(&make->out, make->plan.icc, "/N 3 ", icc, icc_bytes, false, fault);
    free(xmp);
    if (result != 0)
        return -1;
    pdf_begin(&make->out, make->plan.intent);
    pdf_print(&make->out,
              "<< /Type /OutputIntent /S /GTS_PDFA1 /OutputConditionIdentifier (sRGB IEC61966-2.1) "
              "/Info (sRGB IEC61966-2.1) /DestOutputProfile %zu 0 R >>\n",
              make->plan.icc);
    pdf_end(&make->out);
    return 0;
}

/* Nothing is drawn for it: what a person should see of the signature is on the pages. */
static void pdf_put_field(struct pdf_make *make) {
    if (make->key == NULL)
        return;
    pdf_begin(&make->out, make->plan.appearance);
    pdf_print(&make->out, "<< /Type /XObject /Subtype /Form /BBox [ 0 0 0 0 ] /Resources << >> /Length 0 >>\n"
                          "stream\r\n\nendstream\n");
    pdf_end(&make->out);
    pdf_begin(&make->out, make->plan.field);
    pdf_print(&make->out,
              "<< /Type /Annot /Subtype /Widget /FT /Sig /T (certificate) /F %d /Rect [ 0 0 0 0 ] /P %zu 0 R "
              "/V %zu 0 R /AP << /N %zu 0 R >> >>\n",
              PRINTED | LOCKED, make->taken.first_page, make->plan.signature, make->plan.appearance);
    pdf_end(&make->out);
}

static void pdf_put_specifications(struct pdf_make *make) {
    struct pdf_out *out = &make->out;

    for (size_t i = 0; i < make->count; i++) {
        const struct pdf_file *file = &make->files[i];

        pdf_begin(out, make->plan.first_specification + i);
        pdf_print(out, "<< /Type /Filespec /F (%s) /UF (%s) /AFRelationship /Data /Desc ", file->name, file->name);
        pdf_put_text(out, file->description);
        pdf_print(out, " /EF << /F %zu 0 R /UF %zu 0 R >> >>\n", make->plan.first_file + i,
                  make->plan.first_file + i);
        pdf_end(out);
    }
}

static void pdf_put_signature(struct pdf_make *make) {
    struct pdf_out *out = &make->out;

    if (make->key == NULL)
        return;
    pdf_begin(out, make->plan.signature);
    pdf_print(out, "<< /Type /Sig /Filter /Adobe.PPKLite /SubFilter /ETSI.CAdES.detached /M ");
    pdf_put_date(out, make->about->made_ms);
    if (make->about->author[0] != '\0') {
        pdf_print(out, " /Name ");
        pdf_put_text(out, make->about->author);
    }
    pdf_print(out, " /Reason ");
    pdf_put_text(out, make->about->reason);
    pdf_print(out, " /ByteRange [");
    make->hole.range_at = out->at;
    pdf_print(out, "%s] /Contents ", RANGE_BLANK);
    make->hole.contents_at = out->at;
    pdf_print(out, "<");
    for (int i = 0; i < PDF_CONTENTS_BYTES; i++)
        pdf_put(out, "00", 2);
    pdf_print(out, ">");
    make->hole.contents_end = out->at;
    pdf_print(out, " >>\n");
    pdf_end(out);
}

static void pdf_put_table(struct pdf_make *make) {
    struct pdf_out *out = &make->out;
    const int64_t table_at = out->at;

    pdf_print(out, "xref\n0 %zu\n0000000000 65535 f \n", make->plan.most + 1);
    for (size_t i = 1; i <= make->plan.most; i++)
        pdf_print(out, "%010lld 00000 n \n", (long long)out->offsets[i]);
    pdf_print(out, "trailer\n<< /Size %zu /Root %zu 0 R /Info %zu 0 R /ID [ ", make->plan.most + 1,
              make->taken.root, make->taken.info);
    for (int twice = 0; twice < 2; twice++) { // the file as first made, and as it is
        pdf_print(out, "<");
        for (int i = 0; i < PDF_ID_BYTES; i++)
            pdf_print(out, "%02x", make->about->id[i]);
        pdf_print(out, "> ");
    }
    pdf_print(out, "] >>\nstartxref\n%lld\n%%%%EOF\n", (long long)table_at);
}

static int pdf_make(struct pdf_make *make, size_t late, struct pdf_places *places, struct fault *fault) {
    struct pdf_out *out = &make->out;

    pdf_put(out, HEADER, strlen(HEADER));
    if (pdf_put_taken(make, fault) != 0 || pdf_put_archive(make, fault) != 0)
        return -1;
    pdf_put_field(make);
    pdf_put_specifications(make);
    for (size_t i = 0; i < make->count; i++) {
        if (i == make->count - late)
            places->late_from = out->at;
        pdf_put_file(out, make->plan.first_file + i, &make->files[i], make->about->made_ms);
    }
    places->late_to = out->at;
    if (late == 0)
        places->late_from = out->at;
    places->first_object = (int64_t)(make->plan.first_file + make->count - late);
    pdf_put_signature(make);
    pdf_put_table(make);
    places->length = out->at;
    if (fflush(out->file) != 0 || ferror(out->file) || ftello(out->file) != out->at)
        return fault_set_errno(fault, EX_IOERR, "cannot write the PDF");
    return make->key != NULL ? pdf_sign(out, &make->hole, make->key, fault) : 0;
}

int pdf_write(FILE *file, const unsigned char *pages, size_t pages_length, const struct pdf_about *about,
              const struct pdf_file *files, size_t count, size_t late, const struct key *key,
              struct pdf_places *places, struct fault *fault) {
    struct pdf_make make = {.about = about, .files = files, .count = count, .key = key};
    int result = -1;

    if (count > PDF_MOST_FILES)
        return fault_set(fault, EX_DATAERR, "%zu runs: a certificate carries the readings of at most %d", count,
                         PDF_MOST_FILES - 1);
    if (pdf_take(&make.taken, pages, pages_length, fault) == 0) {
        pdf_number_objects(&make);
        if (pdf_out_open(&make.out, file, make.plan.most, fault) == 0)
            result = pdf_make(&make, late, places, fault);
    }
    pdf_out_close(&make.out);
    pdf_release(&make.taken);
    return result;
}
