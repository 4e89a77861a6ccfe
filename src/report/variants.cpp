#include "report/variants.h"

#include <fmt/format.h>

#include <algorithm>
#include <span>
#include <utility>

#include "report/compare_fields.h"
#include "report/compare_html.h"
#include "report/lines.h"

namespace forewarm::report {

namespace {

// But for the peak, which no difference is given of.
constexpr std::span<const Figure<plan::Figures>> kShown = std::span(kPlanFigures).first<5>();
static_assert(kPlanFigures[4].quantity == &kColdStarts);
// What changes take is in the time.
constexpr std::span<const Figure<VariantTotals>> kOfDifferences =
    std::span(kVariantFigures).first<2>();
static_assert(kVariantFigures[1].quantity == &kPurge);

std::string base_name(const std::string& file) {
  const std::size_t slash = file.find_last_of('/');
  return slash == std::string::npos ? file : file.substr(slash + 1);
}

class Parts {
 public:
  explicit Parts(const Variants& variants) : v_(variants) {}

  // "machine.toml with gap.hold_drop_c = 8, feeder.fault_odds = 0.01"
  [[nodiscard]] std::string in_words(const Variant& variant) const {
    std::string out = file_of(variant);
    bool first = true;
    for (const std::string& s : variant.rules.settings) {
      out += (std::exchange(first, false) ? " with " : ", ") + clean(s);
    }
    return out;
  }

  // The same in short, beside its number: where all rows are of one file, the settings alone.
  [[nodiscard]] std::string label(std::size_t row) const {
    const Variant& variant = v_.rows[row];
    const bool one_file = std::all_of(v_.rows.begin(), v_.rows.end(), [&](const Variant& other) {
      return other.rules.file == variant.rules.file;
    });
    std::string out;
    for (const std::string& s : variant.rules.settings) out += (out.empty() ? "" : ", ") + clean(s);
    if (!one_file) out = in_words(variant);
    return fmt::format("{}: {}", row + 1, out.empty() ? "as it is" : out);
  }

  // What stands behind the number of each row.
  [[nodiscard]] std::vector<std::string> legend() const {
    std::vector<std::string> out;
    for (std::size_t i = 0; i < v_.rows.size(); ++i) {
      const Variant& variant = v_.rows[i];
      std::string words = fmt::format("row {}: {}", i + 1, in_words(variant));
      if (variant.row.policy != v_.rows.front().row.policy) {
        words += fmt::format(" (by {})", rules::name_of(variant.row.policy));
      }
      out.push_back(std::move(words));
    }
    return out;
  }

  [[nodiscard]] Table figures_table() const {
    Table out = table("row", kVariantFigures, [](Row& row, const Variant& variant) {
      add_cells<plan::Figures>(row, kShown, variant.row.figures);
      add_cells<VariantTotals>(row, kVariantFigures, variant.totals);
    });
    out.note = fmt::format("All are planned by {}, unless a row says otherwise.",
                           rules::name_of(v_.rows.front().row.policy));
    return out;
  }

  [[nodiscard]] Table difference_table() const {
    const Variant& first = v_.rows.front();
    Table out = table("against row 1", kOfDifferences, [&first](Row& row, const Variant& variant) {
      const auto add = [&row](Amount more, double less) {
        more.value -= less;
        row.cells.emplace_back(signed_text_of(more));
      };
      for (const auto& f : kShown) add(f.amount(variant.row.figures), f.value(first.row.figures));
      for (const auto& f : kOfDifferences) add(f.amount(variant.totals), f.value(first.totals));
    });
    out.rows.erase(out.rows.begin());
    return out;
  }

  // REQUIRES: more than one row.
  [[nodiscard]] std::string answer() const {
    const Variant& first = v_.rows.front();
    const Variant* best = &first;
    for (const Variant& other : v_.rows) {
      if (better(other.row.figures, best->row.figures)) best = &other;
    }
    if (best == &first) {
      return fmt::format(
          "None makes the job shorter than {} does, or as short with less hot-end energy.",
          in_words(first));
    }
    const bool same_length = as_long(best->row.figures, first.row.figures);
    return fmt::format("{} {}; instead of {}: {}.", in_words(*best),
                       same_length
                           ? "takes the least hot-end energy, and none is shorter"
                           : "makes the job shortest, " + duration(best->row.figures.duration_s),
                       in_words(first), difference(best->row.figures, first.row.figures));
  }

 private:
  // The name of the rule file, with its folder only where another has the same.
  [[nodiscard]] std::string file_of(const Variant& variant) const {
    if (variant.rules.built_in) return "built-in guesses";
    const std::string& file = variant.rules.file;
    const bool alone = std::all_of(v_.rows.begin(), v_.rows.end(), [&](const Variant& other) {
      return other.rules.file == file || base_name(other.rules.file) != base_name(file);
    });
    return clean(alone ? base_name(file) : file);
  }

  template <class AddCells>
  [[nodiscard]] Table table(std::string head, std::span<const Figure<VariantTotals>> totals,
                            AddCells add_cells_of) const {
    constexpr std::array<std::size_t, kShown.size()> kWidths{11, 11, 11, 15, 11};
    static constexpr std::array<std::size_t, kVariantFigures.size()> kMoreWidths{10, 9, 13};
    Table out{.columns = {{.head = std::move(head), .kind = Column::Kind::name, .width = 13}}};
    add_columns<plan::Figures>(out, kShown, kWidths);
    add_columns<VariantTotals>(out, totals, std::span(kMoreWidths).first(totals.size()));
    for (std::size_t i = 0; i < v_.rows.size(); ++i) {
      Row row{.cells = {std::to_string(i + 1)}};
      add_cells_of(row, v_.rows[i]);
      out.rows.push_back(std::move(row));
    }
    return out;
  }

  const Variants& v_;
};

class Text : private Lines {
 public:
  Text(const Variants& variants, std::size_t width)
      : Lines(width), v_(variants), parts_(variants) {}

  std::string run() {
    const Variant& first = v_.rows.front();
    begin(v_.path, first.rules);
    line("  {}: {} moving", counted(v_.job.layers, "layer", "layers"), duration(v_.job.motion_s));
    out_ += '\n';
    for (const std::string& words : parts_.legend()) add_wrapped(words, 2);
    add(parts_.figures_table());
    if (v_.rows.size() > 1) {
      add(parts_.difference_table());
      out_ += '\n';
      add_wrapped(parts_.answer(), 0);
    }
    out_ += '\n';
    add_wrapped(kCautions, 0);
    return std::move(out_);
  }

 private:
  const Variants& v_;
  Parts parts_;
};

class Page {
 public:
  explicit Page(const Variants& variants)
      : v_(variants),
        parts_(variants),
        page_(v_.path,
              {fmt::format("on {}: {}; {} moving", clean(v_.rows.front().rules.machine.name),
                           counted(v_.job.layers, "layer", "layers"), duration(v_.job.motion_s)),
               "Rules of row 1: " + rules_words(v_.rows.front().rules)}) {}

  std::string run() {
    page_.section("Rule files side by side");
    page_.list(parts_.legend());
    page_.words(
        "A bar for each row, from 0 on. The full bars are of row 1, with which the others are "
        "compared; a broken line through a bar is the physical bound of its own row.");
    page_.charts_begin();
    for (const Figure<plan::Figures>& figure : kShown) {
      bars(*figure, [&](const Variant& v) { return figure.amount(v.row.figures); });
    }
    for (const Figure<VariantTotals>& figure : kVariantFigures) {
      bars(*figure, [&](const Variant& v) { return figure.amount(v.totals); });
    }
    page_.charts_end();
    page_.table(parts_.figures_table());
    page_.words(kBoundNote);
    if (v_.rows.size() > 1) {
      page_.heading("Against row 1");
      page_.table(parts_.difference_table());
      page_.heading("In words");
      page_.words(capitalised(parts_.answer()));
    }
    return page_.done();
  }

 private:
  template <class AmountOf>
  void bars(const Quantity& quantity, AmountOf amount_of) {
    std::vector<FigureBar> out;
    for (std::size_t i = 0; i < v_.rows.size(); ++i) {
      const Variant& v = v_.rows[i];
      out.push_back({parts_.label(i), amount_of(v), i == 0 ? Bar::Fill::solid : Bar::Fill::light,
                     bound_of(quantity, v.bound)});
    }
    add_bars(page_, quantity, out);
  }

  const Variants& v_;
  Parts parts_;
  ChartPage page_;
};

// The columns of JSON and CSV.
Json columns_of(const Variant& variant) {
  Json out = fields_of(variant.row);
  add_figures<VariantTotals>(out, kVariantFigures, variant.totals);
  return out;
}

}  // namespace

Variant variant(const job::Job& job, const rules::Rules& rules, const plan::Plan& plan) {
  Variant out{
      rules, {plan.policy, rules.gap, {}, 0, plan.figures}, {}, change_counts(job), bound(plan)};
  for (const job::Material& material : job.materials) {
    out.totals.exchanges += material.exchanges;
    out.totals.purge_g +=
        grams(material, rules.filament(material.tool), stepped_mm(plan, material.tool)).purge_g;
  }
  for (const job::ToolChange& change : job.tool_changes) {
    out.totals.change_s += change.park_s + change.pick_s + change.exchange_s;
  }
  return out;
}

std::string text(const Variants& variants, std::size_t width) {
  return Text(variants, width).run();
}

std::string html(const Variants& variants) { return Page(variants).run(); }

std::string json(const Variants& variants) {
  const Variant& first = variants.rows.front();
  Json out = json_begun();
  out["job"] = job_json(variants.path, variants.job);
  out["rules"] = rules_json(first.rules);
  out["rows"] = Json::array();
  for (const Variant& variant : variants.rows) {
    Json row = columns_of(variant);
    row["rules"] = rules_json(variant.rules);
    for (const ChangeCount& c : variant.changes) row["changes"][std::string(c.kind)] = c.count;
    row["bound"] = figures_json<Bound>(kBoundFigures, variant.bound);
    out["rows"].push_back(std::move(row));
  }
  out["bound"] = figures_json<Bound>(kBoundFigures, first.bound);
  return written(out);
}

std::string csv(const Variants& variants) {
  std::string out;
  for (const Variant& variant : variants.rows) {
    Json row = columns_of(variant);
    row["rules"] = variant.rules.built_in ? Json(nullptr) : Json(variant.rules.file);
    row["hash"] = hash_text(variant.rules.hash);
    row["set"] = variant.rules.settings;
    if (out.empty()) out = csv_header(row);
    out += csv_line(row);
  }
  return out;
}

}  // namespace forewarm::report
