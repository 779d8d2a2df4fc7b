#include "rig/compile/identify_step.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "rig/compile/judgement.hpp"
#include "rig/compile/readings.hpp"
#include "rig/compile/reply_pattern.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;

constexpr Nanoseconds kRoom = 20ms;  ///< for the bytes themselves, beside the time that the module may take
constexpr Kilopascals kRest{100};
constexpr Celsius kAmbient{25};

std::vector<std::uint8_t> received(const Slice& slice, TrackId track) {
  const auto& values = slice.tracks[index(track)].values;
  std::vector<std::uint8_t> bytes;
  bytes.reserve(values.size());
  for (const auto value : values) bytes.push_back(static_cast<std::uint8_t>(value));
  return bytes;
}

class Identify final : public CompiledStep {
 public:
  Identify(const IdentifySpec& spec, const RunFacts& facts, Script& script)
      : CompiledStep{spec.name},
        product_{script.product()},
        bench_{script.bench()},
        tracks_{script.tracks()},
        serial_{facts.serial} {
    const auto& all = product_.service->questions;
    for (std::size_t q = 0; q < all.size(); ++q)
      if (spec.questions.empty() ||
          std::find(spec.questions.begin(), spec.questions.end(), all[q].name) != spec.questions.end())
        questions_.push_back(q);
    write(script);
  }
  std::string_view kind() const override { return "identify"; }
  int judge_version() const override { return 1; }
  Judged judge(std::size_t i, const Slice& slice, const Scales& scales) const override;
  std::vector<Finding> conclude(std::span<const Reduction>) const override { return {}; }
  std::vector<std::string> characteristics() const override {
    std::vector<std::string> ids;
    for (const auto q : questions_) ids.push_back(id(q));
    return ids;
  }
  std::vector<AskedWhere> asked() const {
    std::vector<AskedWhere> all;
    for (std::size_t i = 0; i < questions_.size(); ++i) all.push_back({segments_[lead_in_ + i].id, questions_[i]});
    return all;
  }

 private:
  void write(Script& script);
  const ServiceQuestion& question(std::size_t q) const { return product_.service->questions[q]; }
  std::string id(std::size_t q) const { return name() + "/" + question(q).name; }
  Finding judge_answer(std::size_t q, const std::string& answer, std::uint32_t segment) const;
  Finding judge_silence(std::size_t q, const Readings& readings) const;

  Product product_;
  BenchSetup bench_;
  TrackMap tracks_;
  std::string serial_;
  std::vector<std::size_t> questions_;
  std::size_t lead_in_ = 0;
};

void Identify::write(Script& script) {
  script.battery(product_.battery.nominal);
  script.rails(true);
  script.speed(Rpm{0});
  script.temperature(kAmbient);
  for (std::size_t c = 0; c < product_.pressures.size(); ++c) {
    const auto& channel = product_.pressures[c];
    script.pressure(c, std::clamp(kRest, channel.lowest_input, channel.highest_input));
  }
  script.hold(segments_, product_.timing.boot);
  lead_in_ = segments_.size();
  const auto& port = *product_.service;
  for (const auto q : questions_) {
    Exchange conversation;
    conversation.port = *bench_.wiring.service;
    conversation.out = question(q).send;
    conversation.terminator = question(q).until;
    conversation.length = question(q).length;
    conversation.time_out = port.time_out;
    conversation.retries = port.retries;
    conversation.baud = port.baud;
    script.record(*tracks_.service);
    script.exchange(std::move(conversation));
    script.hold(segments_, port.time_out * (1 + port.retries) + kRoom);
  }
}

Judged Identify::judge(std::size_t i, const Slice& slice, const Scales& scales) const {
  Judged judged;
  judged.reduction.segment = slice.record.id;
  if (i < lead_in_) return judged;
  const auto q = questions_[i - lead_in_];
  const Readings readings{bench_, slice, scales};
  if (auto trouble = readings.trouble(); !trouble.empty()) {
    judged.findings.push_back(not_measured({id(q), name(), "match"}, std::move(trouble), slice.record.id));
    return judged;
  }
  const auto bytes = received(slice, *tracks_.service);
  const auto answer = answer_in(bytes, question(q));
  if (answer) {
    judged.notes.push_back({question(q).name, printable(*answer)});
    judged.findings.push_back(judge_answer(q, *answer, slice.record.id));
  } else if (bytes.empty()) {
    judged.findings.push_back(judge_silence(q, readings));
  } else {
    auto finding = measured({id(q), name(), "match"}, 0, 1.0, {1.0, 1.0}, 0, slice.record.id);
    const std::string text{bytes.begin(),
                           bytes.begin() + static_cast<std::ptrdiff_t>(std::min<std::size_t>(bytes.size(), 40))};
    judged.findings.push_back(failed(
        std::move(finding), fmt::format("asked for its {} the unit says '{}'{}, which is no answer", question(q).name,
                                        printable(text), bytes.size() > text.size() ? "..." : "")));
  }
  return judged;
}

Finding Identify::judge_answer(std::size_t q, const std::string& answer, std::uint32_t segment) const {
  const auto& asked = question(q);
  const bool kept = asked.is == AnswerIs::kept;
  const auto& wanted = asked.is == AnswerIs::unit_serial ? serial_ : asked.expect;
  const bool same = kept ? !answer.empty() : answer == wanted && !wanted.empty();
  auto finding = measured({id(q), name(), "match"}, same ? 1 : 0, 1.0, {1.0, 1.0}, 0, segment);
  if (same) return finding;
  if (kept)
    return failed(std::move(finding), fmt::format("asked for its {} the unit gives an empty answer", asked.name));
  return failed(std::move(finding),
                fmt::format("the unit's {} is '{}', {} '{}'", asked.name, printable(answer),
                            asked.is == AnswerIs::unit_serial ? "the run was started for" : "this release has",
                            printable(wanted)));
}

/// Nothing at all came back: the unit's fault when it has power and draws current.
Finding Identify::judge_silence(std::size_t q, const Readings& readings) const {
  const auto window = product_.timing.settle_window;
  const auto battery = readings.at_end(tracks_.battery, window), current = readings.at_end(tracks_.current, window);
  const auto segment = readings.slice().record.id;
  const Named what{id(q), name(), "match"};
  if (battery.bins == 0 || Volts{battery.value} < product_.battery.lowest)
    return not_measured(what, fmt::format("the unit had no power: its battery reads {:.1f} V", battery.value), segment);
  const auto& sense = bench_.ports[index(bench_.wiring.battery_current)];
  if (current.bins == 0 || current.value < 2 * limit_of_error(sense, 0))
    return not_measured(what, "no unit draws current, so none can answer. Check the connector", segment);
  return failed(measured(what, 0, 1.0, {1.0, 1.0}, 0, segment),
                fmt::format("the unit does not answer when it is asked for its {}", question(q).name));
}

/// Reduction of an asked segment: the question, then the answer's bytes; nothing after it when there is no answer.
class Identity final : public CompiledWatch {
 public:
  Identity(const Product& product, const TrackMap& tracks, std::vector<AskedWhere> asked)
      : questions_{product.service->questions}, service_{*tracks.service}, asked_{std::move(asked)} {
    for (std::size_t q = 0; q < questions_.size(); ++q)
      if (std::count_if(asked_.begin(), asked_.end(), [&](const AskedWhere& a) { return a.question == q; }) > 1)
        repeated_.push_back(q);
  }
  std::string_view name() const override { return "identity"; }
  int judge_version() const override { return 1; }

  Reduction look(const Slice& slice, const Scales&) const override {
    Reduction reduction{slice.record.id, {}, {}};
    const auto found =
        std::find_if(asked_.begin(), asked_.end(), [&](const AskedWhere& a) { return a.segment == slice.record.id; });
    if (found == asked_.end()) return reduction;
    const auto answer = answer_in(received(slice, service_), questions_[found->question]);
    if (!answer) return reduction;
    reduction.numbers.push_back(static_cast<double>(found->question));
    for (const char c : *answer) reduction.numbers.push_back(static_cast<unsigned char>(c));
    return reduction;
  }

  std::vector<Finding> conclude(std::span<const Reduction> reductions) const override {
    std::vector<Finding> findings;
    for (const auto q : repeated_) findings.push_back(compare(q, reductions));
    return findings;
  }
  std::vector<std::string> characteristics() const override {
    std::vector<std::string> ids;
    for (const auto q : repeated_) ids.push_back(id(q));
    return ids;
  }

 private:
  std::string id(std::size_t q) const { return "identity/" + questions_[q].name; }

  Finding compare(std::size_t q, std::span<const Reduction> reductions) const {
    std::vector<std::string> answers;
    for (const auto& reduction : reductions) {
      if (reduction.numbers.empty() || reduction.numbers.front() != static_cast<double>(q)) continue;
      std::string text;
      for (std::size_t i = 1; i < reduction.numbers.size(); ++i)
        text += static_cast<char>(static_cast<unsigned char>(reduction.numbers[i]));
      answers.push_back(std::move(text));
    }
    const Named what{id(q), "identity", "match"};
    const auto asked = static_cast<std::size_t>(
        std::count_if(asked_.begin(), asked_.end(), [&](const AskedWhere& a) { return a.question == q; }));
    const auto other =
        std::find_if(answers.begin(), answers.end(), [&](const auto& a) { return a != answers.front(); });
    if (other != answers.end())
      return failed(measured(what, 0, 1.0, {1.0, 1.0}, 0),
                    fmt::format("the unit's {} was '{}' and is '{}': it is another unit, or has other software in it",
                                questions_[q].name, printable(answers.front()), printable(*other)));
    if (answers.size() < asked)
      return not_measured(what, fmt::format("the unit's {} was read {} times of {}, so that it cannot be compared",
                                            questions_[q].name, answers.size(), asked));
    return measured(what, 1, 1.0, {1.0, 1.0}, 0);
  }

  std::vector<ServiceQuestion> questions_;
  TrackId service_;
  std::vector<AskedWhere> asked_;
  std::vector<std::size_t> repeated_;
};

}  // namespace

std::unique_ptr<CompiledStep> ask_identify(const IdentifySpec& spec, const RunFacts& facts, Script& script) {
  return std::make_unique<Identify>(spec, facts, script);
}

std::vector<AskedWhere> asked_where(const CompiledStep& step) {
  const auto* identify = dynamic_cast<const Identify*>(&step);
  return identify ? identify->asked() : std::vector<AskedWhere>{};
}

std::unique_ptr<CompiledWatch> watch_identity(const Product& product, const TrackMap& tracks,
                                              std::vector<AskedWhere> asked) {
  return std::make_unique<Identity>(product, tracks, std::move(asked));
}

}  // namespace rig
