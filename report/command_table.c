// SPDX-License-Identifier: MIT
/* Every command there is: its name, the few words that the overview gives it, and its own help. A help begins with
 * how the command is written, fits a screen of 24 lines and 80 columns, and leaves the whole story to the manual.
 */
#include "command.h"

#include <string.h>

// clang-format off

static const char help_attest[] =
    "soakledger attest BATCH [VISIT] --at TIME [--by NAME] [--words TEXT]\n"
    "\n"
    "Keeps a person's word that a quench was done which no sensor saw.\n"
    "\n"
    "  --at TIME      now, or a moment in UTC such as 2026-11-16T09:53:40Z\n"
    "  --by NAME      who says so; the user unless given\n"
    "  --words TEXT   what was seen\n"
    "\n"
    "It is printed as attested, never as measured, and only a plan that allows it\n"
    "counts it.\n";

static const char help_backup[] =
    "soakledger backup make FILE [--replace]\n"
    "soakledger backup check [FILE]\n"
    "soakledger backup restore FILE\n"
    "\n"
    "  make      copies the ledger as it is at this moment, while it is recorded\n"
    "            into, and looks through the copy before it gets its name\n"
    "            --replace: a file of that name may go, once the new one is whole\n"
    "  check     reads all of a backup, or of the ledger, and holds it against its\n"
    "            seals\n"
    "  restore   checks a backup and makes it the ledger. It overwrites nothing: stop\n"
    "            soakledgerd, and move what is there away first\n";

static const char help_batch[] =
    "soakledger batch open --plan FILE --charge TEXT [--oven NAME] [--customer TEXT]\n"
    "           [--order TEXT] [--operator TEXT] [--note TEXT] [--with BATCH]\n"
    "soakledger batch split BATCH --charge TEXT [--plan FILE] [--customer TEXT]\n"
    "           [--order TEXT] [--operator TEXT] [--note TEXT] [--apart | --together]\n"
    "soakledger batch list [--all] [--open] [--customer TEXT] [--steel TEXT]\n"
    "           [--charge TEXT] [--order TEXT] [--oven NAME] [--sensor IDENTITY]\n"
    "           [--verdict met | not-proven | not-met] [--from DATE] [--to DATE]\n"
    "           [--csv | --json]\n"
    "soakledger batch show BATCH\n"
    "soakledger batch close BATCH\n"
    "\n"
    "  open    says what goes into the oven next; the next run of its oven is its own\n"
    "          --with BATCH: both charges go in together, each run is for both\n"
    "  split   a part of the charge becomes a batch: the runs so far belong to both.\n"
    "          With another plan they go apart from then on, else together\n"
    "  list    batches that fit, how they came out, and what they wait for\n"
    "  show    what the plan requires and what was found, visit by visit\n"
    "  close   no more runs belong to it\n";

static const char help_certificate[] =
    "soakledger certificate BATCH [--why TEXT] [--by NAME] [--without-readings]\n"
    "           [-o FILE]\n"
    "soakledger certificate BATCH --revision N [-o FILE]\n"
    "\n"
    "Writes the certificate of a batch and records its issue. Without -o it is\n"
    "soakledger-batch-N.pdf in this folder. With a key in the configuration it is\n"
    "signed inside, and a second signature lies beside it, FILE.sig.\n"
    "\n"
    "  --why TEXT     why there is a new one, if there is one already. What changed\n"
    "                 is found out and printed; the one before stays a record\n"
    "  --by NAME      whose reason that is; the user unless given\n"
    "  --without-readings   a smaller file, which its receiver cannot judge anew\n"
    "  --revision N   print one again as it was issued, byte for byte\n"
    "\n"
    "'soakledger verify FILE' is what its receiver can do.\n";

static const char help_check[] =
    "soakledger check OVEN.CHANNEL [--allowed DIFFERENCE]\n"
    "           [--reference CHANNEL | --instrument TEXT] [--correction DIFFERENCE]\n"
    "           [--uncertainty DIFFERENCE] [--due DATE] [--decision simple | guarded]\n"
    "           [--by NAME] [--note TEXT] [-o FILE]\n"
    "           [--yes [--readings LIST] [--at TIME] [--over DURATION]]\n"
    "soakledger check list [--csv | --json]\n"
    "soakledger check print N [-o FILE]\n"
    "\n"
    "A system accuracy test: a sensor against a reference sensor, step by step,\n"
    "stored and printed. What is not given is asked for.\n"
    "\n"
    "  --allowed      either way; unless given, the sensor's allowed_error\n"
    "  --reference    a channel of the same oven; by default the one of that role\n"
    "  --instrument   a hand-held one, by name and number; its readings are typed in,\n"
    "                 its --correction is added to them\n"
    "  --uncertainty, --due   of the reference: without them nothing is proven\n"
    "  --yes          ask nothing: the time that ends at --at (now), --over 5 min;\n"
    "                 a LIST is such as '805.2 C, 805.0 C at 2026-11-16T08:00:00Z'\n"
    "\n"
    "A sensor's drift is counted anew from a test that says something of it.\n";

static const char help_claim[] =
    "soakledger claim RUN BATCH [VISIT] [--also] [--by NAME]\n"
    "soakledger claim RUN none [BATCH] [--by NAME]\n"
    "\n"
    "Says that a run belongs to a batch, or gives it back: from all batches, or from\n"
    "the one named. A VISIT is one stay in an oven: the name of its soak or temper,\n"
    "or its number; without one it is the visit that the batch waits for.\n"
    "\n"
    "  --also      the run belongs to another batch too: both were in the oven\n"
    "  --by NAME   who says so; the user unless given\n"
    "\n"
    "'soakledger runs' lists the runs. Nothing is erased: the latest word holds.\n";

static const char help_import[] =
    "soakledger import FILE --as DESCRIPTION [--by NAME]\n"
    "\n"
    "Makes a run of what another recorder wrote: a CSV file, whose columns, units and\n"
    "times a description states, see soakledger-import(5). It is judged like any\n"
    "other run once a batch claims it, and every sheet says that it was imported.\n"
    "\n"
    "Anything in the file that is not as described is refused with its line, and\n"
    "nothing is imported.\n";
static const char help_drift[] =
    "soakledger drift [OVEN | OVEN.CHANNEL | SENSOR] [--until TIME]\n"
    "           [--csv | --json] [-o FILE]\n"
    "\n"
    "What the runs so far say of the sensors, one line each: how far each has moved\n"
    "since it was fitted or last checked, how fast it goes on, and when it reaches\n"
    "what is allowed. And what has changed, if not a sensor: element, supply, door.\n"
    "\n"
    "  SENSOR      the number on its tag; without any word, all ovens\n"
    "  --until     as it looked then\n"
    "  -o FILE     the sheet too, with the charts behind it\n"
    "\n"
    "With two sensors that disagree nothing tells which has changed; 'soakledger\n"
    "check' does. With three or more the odd one is named.\n";

static const char help_key[] =
    "soakledger key make\n"
    "soakledger key public [-o FILE]\n"
    "soakledger key certificate [-o FILE]\n"
    "\n"
    "Makes the key that signs certificates, once, and hands out what others check\n"
    "them by.\n";

static const char help_now[] =
    "soakledger now [--once]\n"
    "\n"
    "The ovens at this moment: temperatures, the curve of the run that is on, how\n"
    "long the soak still has to last, and what was found. It is drawn anew every\n"
    "second until q or Ctrl-C; where there is no terminal it is printed once.\n"
    "\n"
    "  --once   print it once in any case\n"
    "\n"
    "Whatever is wrong has a line that begins with '!'. An x under the curve stands\n"
    "where no good reading came. NO_COLOR switches colour off; where the locale is\n"
    "not UTF-8 the page is plain ASCII.\n";

static const char help_plan[] =
    "soakledger plan check FILE [--unit C | F]\n"
    "soakledger plan show FILE [-o FILE.pdf] [--paper A4 | Letter] [--unit C | F]\n"
    "\n"
    "Says whether a plan can be followed, or draws what it asks for: on the screen,\n"
    "or on a sheet. No ledger and no configuration are needed; the unit is that of\n"
    "the configuration, where there is one. See soakledger-plan(5).\n";

static const char help_ports[] =
    "soakledger ports [--json]\n"
    "\n"
    "Serial adapters, and a rule for each that gives it a name that stays.\n";

static const char help_probe[] =
    "soakledger probe PORT [--address N] [--all] [--speed BAUD]\n"
    "          [--parity none | even | odd] [--stop-bits 1 | 2] [--reply-within TIME]\n"
    "           [--registers FIRST-LAST] [--function 3 | 4] [--once]\n"
    "\n"
    "Finds the controllers on a line by reading alone, and shows their registers.\n";

static const char help_review[] =
    "soakledger review BATCH [-o FILE.pdf]\n"
    "\n"
    "Why a batch failed: the curve over the plan and over the last good batch of the\n"
    "same plan, what happened when and what it cost, and the causes, each with what\n"
    "speaks for and against it. Where the readings do not tell, it says so.\n"
    "\n"
    "  -o FILE.pdf   on paper instead of the screen\n"
    "\n"
    "It rests on readings alone, and on earlier good runs of the same oven. Nothing\n"
    "is stored.\n";

static const char help_desk[] =
    "soakledger desk\n"
    "\n"
    "Keeps books for a user who may read the ledger and not write it. It is started\n"
    "by systemd for each call (soakledger-books.socket), never by a person: such a\n"
    "user types the same commands as anybody, and they are handed over.\n";

static const char help_what_if[] =
    "soakledger what-if BATCH --plan FILE [-o FILE.pdf]\n"
    "soakledger what-if BATCH [--temperature T] [--below D] [--above D] [--time D]\n"
    "           [--visit VISIT] [-o FILE.pdf]\n"
    "\n"
    "The same readings judged against another plan, or against another band or time.\n"
    "Every page and line says that it is hypothetical; nothing is stored.\n"
    "\n"
    "  --plan FILE       another plan: its first visit gets the batch's first, ...\n"
    "  --temperature T   of the soak, e.g. 800 C\n"
    "  --below, --above  the band's edges from it, e.g. 5 C\n"
    "  --time D          at least, e.g. 15 min\n"
    "  --visit VISIT     which, if the plan has several: its name or its number\n"
    "  -o FILE.pdf       on paper instead of the screen\n";

static const char help_runs[] =
    "soakledger runs [--all] [--oven NAME] [--sensor IDENTITY] [--from DATE]\n"
    "           [--to DATE] [--csv | --json]\n"
    "\n"
    "The last 20 oven runs, or all that fit, and whose they are.\n";

static const char help_amend[] =
    "soakledger amend BATCH charge | customer | order | operator | note --to TEXT\n"
    "soakledger amend BATCH hardness N --to NUMBER\n"
    "soakledger amend BATCH attestation | disposition N --to TEXT\n"
    "soakledger amend BATCH attestation | disposition | hardness N withdraw\n"
    "           --reason TEXT [--by NAME]\n"
    "\n"
    "Says what an entry should have said, or that it does not count. The entry\n"
    "stays, and sheets print both. N counts the entries of that kind in the batch,\n"
    "as 'batch show' numbers them. Verdicts are never amended.\n";

static const char help_disposition[] =
    "soakledger disposition BATCH accept | rework | scrap | hold --reason TEXT\n"
    "           [--by NAME]\n"
    "\n"
    "What is done with the batch, by whose decision, and why. No verdict changes;\n"
    "the latest disposition holds, and all are printed.\n";

static const char help_export[] =
    "soakledger export run N | batch N [--csv | --json | --svg] [--from TIME]\n"
    "           [--to TIME] [--channel NAME] [-o FILE]\n"
    "\n"
    "Writes every reading of a run, or of all runs of a batch, for other programs: as\n"
    "CSV (unless said otherwise), as JSON, or drawn as SVG. Without -o the file is\n"
    "soakledger-run-N.csv or the like in this folder; one that is there is replaced\n"
    "once the new one is whole.\n"
    "\n"
    "  --from, --to   only what lies between: UTC, such as 2026-11-16T09:53:40Z\n"
    "  --channel      one channel alone\n"
    "\n"
    "Values are with the corrections in force; as stored they stand beside.\n";

static const char help_hardness[] =
    "soakledger hardness BATCH NUMBER ... SCALE [--piece TEXT] [--position TEXT]\n"
    "           [--instrument TEXT] [--uncertainty NUMBER] [--at TIME] [--by NAME]\n"
    "\n"
    "Enters hardness readings, such as 'hardness 7 60 60.5 59.5 HRC'. They are held\n"
    "against what the plan asks for: met, not met, or not proven.\n";


static const char help_sensor[] =
    "soakledger sensor list [--csv | --json]\n"
    "soakledger sensor show SENSOR [--recount]\n"
    "soakledger sensor due [--csv | --json]\n"
    "soakledger sensor correct SENSOR FILE | none [--by NAME]\n"
    "soakledger sensor correct --instrument NAME FILE | none [--by NAME]\n"
    "soakledger sensor retire SENSOR [--words TEXT] [--by NAME]\n"
    "\n"
    "  list     every sensor: where it is, its hours in heat (100 C and above), its\n"
    "           peak, how often it was heated, and what is wrong with it\n"
    "  show     all that is known of one; --recount counts its use again from the\n"
    "           stored readings and compares\n"
    "  due      checks and calibrations that are due, limits that were passed\n"
    "  correct  enters the table of a calibration certificate, for runs that begin\n"
    "           from now on; 'none' withdraws what is in force\n"
    "  retire   a person's word that a sensor is not to be used any more\n"
    "\n"
    "Fitted and moved are no commands: they follow from the configuration. A check\n"
    "is made with 'soakledger check'.\n";

static const char help_survey[] =
    "soakledger survey OVEN --setpoint TEMPERATURE (--run N | --from TIME --to TIME)\n"
    "           [--hold DURATION] [--decision simple | guarded] [--by NAME]\n"
    "           [--note TEXT] [-o FILE] [CHANNEL[=PLACE] ...]\n"
    "soakledger survey list [--csv | --json]\n"
    "soakledger survey print N [-o FILE]\n"
    "\n"
    "How even the work zone was at a setpoint, from the stored readings of a run or\n"
    "of a time: judged by the uniformity classes of AMS 2750, stored, and printed.\n"
    "\n"
    "  CHANNEL=PLACE  a sensor and where it was, such as front='left, on the hearth';\n"
    "                 without any, all load channels of the oven\n"
    "  --hold TIME    settled for at least so long, 30 min unless given; of a run, so\n"
    "                 much is judged, of a time everything to its end\n"
    "  --decision guarded   inside a limit by the sensor's uncertainty, or not proven\n"
    "\n"
    "Sensors have to be recorded from 55 C below the setpoint on, at least every two\n"
    "minutes. Units and paper are those of the configuration.\n";

static const char help_verify[] =
    "soakledger verify [run N | batch N] [--seal DIGITS]\n"
    "soakledger verify CERT.pdf [--key FILE] [--signature FILE]\n"
    "\n"
    "The ledger: works out every seal again, and says what is not as it was sealed:\n"
    "readings, findings, verdicts, plans, books. With a run or a batch only the\n"
    "readings of its runs are looked at, which is quicker.\n"
    "\n"
    "  --seal DIGITS      a seal kept elsewhere, such as on a certificate: its first\n"
    "                     12 digits or more. Shows also what was cut off or put back\n"
    "\n"
    "A certificate, without ledger or configuration: whether its signature holds, and\n"
    "whether its verdicts follow from the readings and the plan attached to it.\n"
    "\n"
    "  --key FILE         of the shop: shop.crt for the signature inside the file, or\n"
    "                     shop.pub for the one beside it\n"
    "  --signature FILE   instead of CERT.pdf.sig, with shop.pub\n"
    "\n"
    "Exit status 0: everything is as it was sealed or signed; 65: it is not. See\n"
    "soakledger-seal(5).\n";

const struct command_entry command_entries[] = {
    {"amend", command_amend, "what an entry should say", help_amend},
    {"attest", command_attest, "word for an unseen quench", help_attest},
    {"backup", command_backup, "the ledger kept elsewhere", help_backup},
    {"batch", command_batch, "what goes into the ovens", help_batch},
    {"certificate", command_certificate, "the PDF for a customer", help_certificate},
    {"check", command_check, "a sensor and a reference", help_check},
    {"claim", command_claim, "say whose a run is", help_claim},
    {"desk", command_desk, "keeps books for others", help_desk},
    {"disposition", command_disposition, "accept, rework, scrap ...", help_disposition},
    {"drift", command_drift, "sensors over many runs", help_drift},
    {"export", command_export, "curves for other programs", help_export},
    {"hardness", command_hardness, "hardness as measured", help_hardness},
    {"import", command_import, "a run of another recorder", help_import},
    {"key", command_key, "what signs certificates", help_key},
    {"now", command_now, "the ovens at this moment", help_now},
    {"plan", command_plan, "check or draw a plan", help_plan},
    {"ports", command_ports, "serial adapters", help_ports},
    {"probe", command_probe, "find controllers", help_probe},
    {"review", command_review, "why a batch failed", help_review},
    {"runs", command_runs, "oven runs, whose they are", help_runs},
    {"sensor", command_sensor, "sensors and their life", help_sensor},
    {"survey", command_survey, "how even a work zone is", help_survey},
    {"verify", command_verify, "is it as it was sealed?", help_verify},
    {"what-if", command_what_if, "judge by another plan", help_what_if},
};

// clang-format on

const size_t command_entry_count = sizeof command_entries / sizeof command_entries[0];

const struct command_entry *command_find(const char *name) {
    for (size_t i = 0; i < command_entry_count; i++)
        if (strcmp(name, command_entries[i].name) == 0)
            return &command_entries[i];
    return NULL;
}
