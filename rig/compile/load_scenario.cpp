#include "rig/compile/load_file.hpp"
#include "rig/compile/load_parts.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;
using yaml::Allowed;
using yaml::MapReader;
using yaml::Node;
using yaml::PlacedComplaints;

constexpr std::size_t kMostSteps = 64;

class ScenarioReader {
 public:
  ScenarioReader(PlacedComplaints& complaints, std::shared_ptr<const Product> product, BesideScenario& beside)
      : complaints_{complaints}, beside_{beside} {
    scenario_.product = std::move(product);
  }
  std::optional<Scenario> read(const Node& root);

 private:
  void read_step(const Node& node, std::size_t number);
  StepSpec read_spec(StepKind kind, MapReader& step);
  void check_plug(StepKind kind, yaml::Place place);

  PlacedComplaints& complaints_;
  BesideScenario& beside_;
  Scenario scenario_;
  std::vector<yaml::Place> places_;  ///< of each step that could be read
};

std::optional<Scenario> ScenarioReader::read(const Node& root) {
  const std::size_t before = complaints_.count();
  {
    MapReader file{root, complaints_, "the scenario"};
    file.find("scenario");
    file.find("product");  // read by the caller
    file.need_name("name", scenario_.name, "end-of-line");
    file.need_text("title", scenario_.title, "End of line, two-pressure module");
    const bool purpose = file.need_choice("purpose", scenario_.purpose,
                                          {{"end_of_line", Purpose::end_of_line},
                                           {"regression", Purpose::regression},
                                           {"trial", Purpose::trial},
                                           {"bench", Purpose::bench}},
                                          "end_of_line");
    if (const Node* steps = file.need("steps", "[{step: contacts}, {step: self_test}, {step: power_up}, ...]")) {
      std::size_t number = 0;
      for (const Node& item : yaml::items(*steps, 1, kMostSteps, "the steps", complaints_)) read_step(item, number++);
      // A step of a kind that nobody knows may be the one that would be missed.
      const bool all_known = number > 0 && places_.size() == number;
      if (purpose && all_known) check_order(scenario_, places_, file.place("steps"), complaints_);
    }
    const bool of_units = scenario_.purpose == Purpose::end_of_line || scenario_.purpose == Purpose::regression;
    if (purpose && of_units && scenario_.product && scenario_.product->straight_through)
      file.refuse("purpose", "the product is a straight-through plug: it tells of the bench, and no plug is shipped",
                  "Write `purpose: bench`");
  }
  if (complaints_.count() != before || !scenario_.product) return std::nullopt;
  return scenario_;
}

void ScenarioReader::read_step(const Node& node, std::size_t number) {
  MapReader step{node, complaints_, fmt::format("step {}", number + 1)};
  StepKind kind{};
  if (!step.need_choice("step", kind,
                        {{"contacts", StepKind::contacts},
                         {"self_test", StepKind::self_test},
                         {"warm_up", StepKind::warm_up},
                         {"identify", StepKind::identify},
                         {"program", StepKind::program},
                         {"power_up", StepKind::power_up},
                         {"loading", StepKind::loading},
                         {"speed_line", StepKind::speed_line},
                         {"pass_through", StepKind::pass_through},
                         {"sweep", StepKind::sweep},
                         {"fault", StepKind::fault},
                         {"step_response", StepKind::step_response},
                         {"hold", StepKind::hold},
                         {"replay", StepKind::replay},
                         {"supply", StepKind::supply}},
                        "sweep")) {
    if (node.kind == Node::Kind::map)
      for (const yaml::Entry& entry : node.entries) step.find(entry.key);
    return;
  }
  // A step is named after its kind unless the file says otherwise; findings are found by this name for ever.
  std::string name = step.find("step")->text;
  if (const Node* given = step.find("name")) yaml::read_name(*given, name, complaints_);
  for (std::size_t i = 0; i < places_.size(); ++i) {
    if (std::visit([](const auto& one) { return one.name; }, scenario_.steps[i]) != name) continue;
    complaints_.add(node.place, fmt::format("a step '{}' is there already, in line {}", name, places_[i].line),
                    "Give this one another `name`");
    break;
  }
  check_plug(kind, node.place);
  StepSpec spec = read_spec(kind, step);
  std::visit([&](auto& one) { one.name = name; }, spec);
  scenario_.steps.push_back(std::move(spec));
  places_.push_back(node.place);
}

StepSpec ScenarioReader::read_spec(StepKind kind, MapReader& step) {
  const Product* product = scenario_.product.get();
  switch (kind) {
    case StepKind::contacts:
      return read_contacts(step, product);
    case StepKind::self_test:
      return read_self_test(step, product);
    case StepKind::warm_up:
      return read_warm_up(step);
    case StepKind::identify:
      return read_identify(step, product);
    case StepKind::program:
      return read_program(step);
    case StepKind::power_up:
      return read_power_up(step, product);
    case StepKind::loading:
      return read_loading(step, product);
    case StepKind::speed_line:
      return read_speed_line_step(step, product);
    case StepKind::pass_through:
      return read_pass_through(step, product);
    case StepKind::sweep:
      return read_sweep(step, product);
    case StepKind::fault:
      return read_fault(step, product);
    case StepKind::step_response:
      return read_step_response(step, product);
    case StepKind::hold:
      return read_hold(step, product);
    case StepKind::replay:
      return read_replay(step, product, beside_);
    case StepKind::supply:
      return read_supply(step, product);
  }
  return {};
}

/// A straight-through plug is never powered: it has nothing that could start, answer or shift.
void ScenarioReader::check_plug(StepKind kind, yaml::Place place) {
  if (!scenario_.product || !scenario_.product->straight_through) return;
  const bool powered = kind == StepKind::identify || kind == StepKind::program || kind == StepKind::power_up ||
                       kind == StepKind::sweep || kind == StepKind::fault || kind == StepKind::step_response ||
                       kind == StepKind::hold || kind == StepKind::replay || kind == StepKind::supply;
  if (powered)
    complaints_.add(place, "the product is a straight-through plug, and this step needs a module",
                    "A plug has contacts, self_test, warm_up, loading, speed_line and pass_through");
}

/// Reads the product that a scenario names. The product's complaints come with the scenario's own.
std::shared_ptr<const Product> load_named_product(const std::string& path, const Node& root,
                                                  PlacedComplaints& complaints, Loaded<Scenario>& loaded,
                                                  Complaints& of_product) {
  MapReader file{root, complaints, "the scenario"};
  for (const yaml::Entry& entry : root.entries)
    file.find(entry.key);  // known or not: the reader of the whole file says
  const Node* node = file.need("product", "products/two-pressure.yaml");
  std::string reference;
  if (!node || !yaml::read_text(*node, reference, complaints)) return nullptr;
  const auto where = referred_path(path, reference, node->place, complaints);
  if (!where) return nullptr;
  Loaded<Product> product = load_product(*where);
  for (SourceFile& source : product.files) loaded.files.push_back(std::move(source));
  of_product = std::move(product.complaints);
  return product.value ? std::make_shared<const Product>(std::move(*product.value)) : nullptr;
}

}  // namespace

Loaded<Scenario> load_scenario(const std::string& path) {
  Loaded<Scenario> loaded;
  PlacedComplaints complaints{path};
  Complaints of_product;
  BesideScenario beside{path};
  loaded.files.emplace_back();
  auto root = open_file(path, loaded.files.front(), complaints);
  if (root && settle_format(*root, FileKind::scenario, complaints)) {
    auto product = load_named_product(path, *root, complaints, loaded, of_product);
    loaded.value = ScenarioReader{complaints, std::move(product), beside}.read(*root);
  }
  for (SourceFile& source : beside.files) loaded.files.push_back(std::move(source));
  loaded.complaints = complaints.sorted();
  loaded.complaints.insert(loaded.complaints.end(), beside.complaints.begin(), beside.complaints.end());
  loaded.complaints.insert(loaded.complaints.end(), of_product.begin(), of_product.end());
  if (!loaded.complaints.empty()) loaded.value.reset();
  return loaded;
}

}  // namespace rig
