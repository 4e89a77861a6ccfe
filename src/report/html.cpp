#include "report/report.h"
namespace forewarm::report {
std::string html(const Summary& summary) { return "<!doctype html><title>" + std::to_string(summary.job.bytes) + "</title>\n"; }
}
