// SPDX-License-Identifier: MIT
/* The texts that a file for the archive carries beside its pages: XMP (ISO 16684-1) and a map to characters. */
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "pdf_parts.h"
#include "soakledger/words.h"

enum { MS_PER_S = 1000, TIME_BYTES = 32, ROWS_OF_A_BLOCK = 100, ROWS = 256 };

const char PDF_PRODUCER[] = "libharu, soakledger";

/* ---- XMP ---- */

static void xmp_put_text(FILE *out, const char *text) {
    for (size_t bytes; (bytes = words_character(text)) != 0; text += bytes) {
        const unsigned char first = (unsigned char)text[0];

        if (bytes == 1 && first > 0x7F)
            fputs("\xEF\xBF\xBD", out); // no UTF-8: U+FFFD
        else if (first == '&')
            fputs("&amp;", out);
        else if (first == '<')
            fputs("&lt;", out);
        else if (first == '>')
            fputs("&gt;", out);
        else if (first < ' ' || first == 0x7F) // XML takes few control characters, and a title needs none
            fputc(' ', out);
        else
            fwrite(text, 1, bytes, out);
    }
}

static void xmp_put_id(FILE *out, const unsigned char *id) {
    fputs("uuid:", out);
    for (int i = 0; i < PDF_ID_BYTES; i++)
        fprintf(out, "%s%02x", i == 4 || i == 6 || i == 8 || i == 10 ? "-" : "", id[i]); // RFC 4122
}

static void xmp_put_description(FILE *out, const struct pdf_about *about) {
    const time_t seconds = (time_t)(about->made_ms / MS_PER_S);
    char made[TIME_BYTES] = "";
    struct tm parts;

    if (gmtime_r(&seconds, &parts) != NULL)
        strftime(made, sizeof made, "%Y-%m-%dT%H:%M:%SZ", &parts);
    fputs("<pdfaid:part>3</pdfaid:part>\n<pdfaid:conformance>B</pdfaid:conformance>\n"
          "<dc:format>application/pdf</dc:format>\n"
          "<dc:title><rdf:Alt><rdf:li xml:lang=\"x-default\">",
          out);
    xmp_put_text(out, about->title);
    fputs("</rdf:li></rdf:Alt></dc:title>\n", out);
    if (about->author[0] != '\0') {
        fputs("<dc:creator><rdf:Seq><rdf:li>", out);
        xmp_put_text(out, about->author);
        fputs("</rdf:li></rdf:Seq></dc:creator>\n", out);
    }
    fputs("<xmp:CreatorTool>", out);
    xmp_put_text(out, about->program);
    fprintf(out,
            "</xmp:CreatorTool>\n<xmp:CreateDate>%s</xmp:CreateDate>\n<xmp:ModifyDate>%s</xmp:ModifyDate>\n"
            "<xmp:MetadataDate>%s</xmp:MetadataDate>\n<pdf:Producer>%s</pdf:Producer>\n<xmpMM:DocumentID>",
            made, made, made, PDF_PRODUCER);
    xmp_put_id(out, about->id);
    fputs("</xmpMM:DocumentID>\n", out);
}

char *pdf_make_xmp(const struct pdf_about *about, size_t *length) {
    char *text = NULL;
    FILE *out = open_memstream(&text, length);

    if (out == NULL)
        return NULL;
    fputs("<?xpacket begin=\"\xEF\xBB\xBF\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n"
          "<x:xmpmeta xmlns:x=\"adobe:ns:meta/\">\n"
          "<rdf:RDF xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\">\n"
          "<rdf:Description rdf:about=\"\" xmlns:pdfaid=\"http://www.aiim.org/pdfa/ns/id/\"\n"
          " xmlns:dc=\"http://purl.org/dc/elements/1.1/\" xmlns:xmp=\"http://ns.adobe.com/xap/1.0/\"\n"
          " xmlns:pdf=\"http://ns.adobe.com/pdf/1.3/\" xmlns:xmpMM=\"http://ns.adobe.com/xap/1.0/mm/\">\n",
          out);
    xmp_put_description(out, about);
    fputs("</rdf:Description>\n</rdf:RDF>\n</x:xmpmeta>\n<?xpacket end=\"r\"?>\n", out);
    if (fclose(out) != 0) {
        free(text);
        return NULL;
    }
    return text;
}

/* ---- codes to characters ---- */

/* The pages' fonts are addressed by UTF-16 units, so that a code is its character. A range must not pass from one
 * first byte to the next (ISO 32000-1, 9.10.3); halves of surrogates are no characters. */
static int map_has_row(int row) {
    return row < 0xD8 || row > 0xDF;
}

static void map_put_rows(FILE *out) {
    int left = 0;

    for (int row = 0; row < ROWS; row++)
        left += map_has_row(row);
    for (int row = 0, open = 0; row < ROWS; row++) {
        if (!map_has_row(row))
            continue;
        if (open == 0) {
            open = left < ROWS_OF_A_BLOCK ? left : ROWS_OF_A_BLOCK;
            fprintf(out, "%d beginbfrange\n", open);
        }
        /* No character is U+0000, U+FFFE or U+FFFF. */
        fprintf(out, "<%02X%02X> <%02X%02X> <%02X%02X>\n", row, row == 0, row, row == ROWS - 1 ? 0xFD : 0xFF, row,
                row == 0);
        left--;
        if (--open == 0)
            fputs("endbfrange\n", out);
    }
}

char *pdf_make_unicode_map(size_t *length) {
    char *text = NULL;
    FILE *out = open_memstream(&text, length);

    if (out == NULL)
        return NULL;
    fputs("/CIDInit /ProcSet findresource begin\n12 dict begin\nbegincmap\n"
          "/CIDSystemInfo << /Registry (Adobe) /Ordering (UCS) /Supplement 0 >> def\n"
          "/CMapName /Adobe-Identity-UCS def\n/CMapType 2 def\n"
          "1 begincodespacerange\n<0000> <FFFF>\nendcodespacerange\n",
          out);
    map_put_rows(out);
    fputs("endcmap\nCMapName currentdict /CMap defineresource pop\nend\nend\n", out);
    if (fclose(out) != 0) {
        free(text);
        return NULL;
    }
    return text;
}
