// Who a module says it is, held against who it must be.
#include "rig/compile/identify_step.hpp"

#include "tests/unit/compile/paper_bench.hpp"

namespace {

using namespace rig;
using paper::State;

/// The shipped product, asked four things.
std::shared_ptr<const Product> talking() {
  auto product = *shipped::end_of_line().product;
  const auto ask = [](std::string name, AnswerIs is, std::string expect) {
    ServiceQuestion question;
    question.name = name;
    question.send = {'?'};
    question.until = {'\n'};
    question.pattern = name + " (.*)";
    question.is = is;
    question.expect = std::move(expect);
    return question;
  };
  product.service = ServicePort{};
  product.service->questions = {ask("serial", AnswerIs::unit_serial, ""), ask("firmware", AnswerIs::release, "4f1c09"),
                                ask("table", AnswerIs::kept, "")};
  return std::make_shared<const Product>(std::move(product));
}

struct Talk {
  explicit Talk(std::vector<IdentifySpec> specs = {IdentifySpec{}}) {
    RunFacts facts;
    facts.serial = "T00017";
    plan = paper::plan_of({specs.begin(), specs.end()}, facts, talking());
    bench.emplace(plan);
  }
  using Replies = std::map<std::string, std::string>;
  static Replies good() { return {{"serial", "T00017"}, {"firmware", "4f1c09"}, {"table", "a90f"}}; }
  /// Every question gets its answer.
  void reply(const CompiledStep& step, std::size_t segment, Slice& slice, const Replies& replies) const {
    const auto& questions = plan->scenario.product->service->questions;
    for (const auto& asked : asked_where(step)) {
      if (asked.segment != step.segments()[segment].id) continue;
      const auto& name = questions[asked.question].name;
      if (!replies.contains(name)) return;
      for (const char c : name + " " + replies.at(name) + "\n")
        slice.tracks[index(*plan->tracks.service)].values.push_back(static_cast<unsigned char>(c));
    }
  }
  paper::Bench::Result judge(const Replies& replies, const paper::Bench::Change& change = {}) {
    const auto& step = *plan->steps.front();
    return bench->judge(step, [&](std::size_t i, const State& state, Slice& slice) {
      reply(step, i, slice, replies);
      if (change) change(i, state, slice);
    });
  }

  std::shared_ptr<const Plan> plan;
  std::optional<paper::Bench> bench;
};

bool says(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_CASE("a unit that says what it must passes, and what it says is kept", "[compile][identify]") {
  Talk talk;
  const auto result = talk.judge(Talk::good());
  CHECK(result.trouble().empty());
  REQUIRE(result.notes.size() == 3);
  CHECK(result.notes[0].kind == "serial");
  CHECK(result.notes[0].text == "T00017");
  CHECK(result.notes[2].kind == "table");
  CHECK(result.notes[2].text == "a90f");
}

TEST_CASE("a unit of another number than the run was started for fails, and both are named", "[compile][identify]") {
  Talk talk;
  auto replies = Talk::good();
  replies["serial"] = "T00018";
  const auto result = talk.judge(replies);
  CHECK(result["identify/serial"].verdict == Verdict::fail);
  CHECK(says(result["identify/serial"].reason, "'T00018', the run was started for 'T00017'"));
  CHECK(result["identify/firmware"].verdict == Verdict::pass);
}

TEST_CASE("another firmware than the release's fails", "[compile][identify]") {
  Talk talk;
  auto replies = Talk::good();
  replies["firmware"] = "4f1c08";
  const auto result = talk.judge(replies);
  CHECK(result["identify/firmware"].verdict == Verdict::fail);
  CHECK(result["identify/firmware"].value == 0);
  CHECK(says(result["identify/firmware"].reason, "'4f1c08', this release has '4f1c09'"));
}

TEST_CASE("a question without an answer, or with an empty one, fails", "[compile][identify]") {
  Talk talk;
  auto replies = Talk::good();
  replies["table"] = "";
  CHECK(talk.judge(replies)["identify/table"].verdict == Verdict::fail);
  replies.erase("table");
  const auto result = talk.judge(replies);
  CHECK(result["identify/table"].verdict == Verdict::fail);
  CHECK(says(result["identify/table"].reason, "does not answer"));
}

TEST_CASE("something that is no answer fails, and is shown with its bytes", "[compile][identify]") {
  Talk talk;
  const auto result = talk.judge({}, [&](std::size_t, const State&, Slice& slice) {
    slice.tracks[index(*talk.plan->tracks.service)].values = {0x07, 'x', 0xff};
  });
  CHECK(result["identify/serial"].verdict == Verdict::fail);
  CHECK(says(result["identify/serial"].reason, "'\\x07x\\xff'"));
}

TEST_CASE("a unit without power or without current is not blamed for its silence", "[compile][identify]") {
  Talk talk;
  const auto unpowered = talk.judge({}, [&](std::size_t, const State&, Slice& slice) {
    talk.bench->read(slice, talk.plan->tracks.battery, 0.1, 0.1);
  });
  CHECK(unpowered["identify/serial"].verdict == Verdict::void_);
  const auto absent = talk.judge(
      {}, [&](std::size_t, const State&, Slice& slice) { talk.bench->read(slice, talk.plan->tracks.current, 0, 0); });
  CHECK(absent["identify/serial"].verdict == Verdict::void_);
  CHECK(says(absent["identify/serial"].reason, "Check the connector"));
}

TEST_CASE("a gap or a flag voids an answer, whatever it says", "[compile][identify]") {
  Talk talk;
  CHECK(talk.judge(Talk::good(),
                   [&](std::size_t, const State&, Slice& slice) {
                     slice.tracks[index(*talk.plan->tracks.service)].gap = true;
                   })["identify/serial"]
            .verdict == Verdict::void_);
  CHECK(talk.judge({},
                   [&](std::size_t, const State&, Slice& slice) {
                     slice.flags.push_back({RigFlag::Kind::link, slice.record.start, {}, "the link was lost"});
                   })["identify/serial"]
            .verdict == Verdict::void_);
}

TEST_CASE("each question is one conversation, recorded, long enough for every time it is asked again",
          "[compile][identify]") {
  Talk talk;
  const auto& step = *talk.plan->steps.front();
  const auto& port = *talk.plan->scenario.product->service;
  REQUIRE(step.segments().size() == 1 + port.questions.size());
  for (std::size_t i = 1; i < step.segments().size(); ++i) {
    const auto& segment = step.segments()[i];
    REQUIRE(segment.windows.size() == 1);
    CHECK(segment.windows.front().track == *talk.plan->tracks.service);
    REQUIRE(segment.events.size() == 1);
    const auto& exchange = std::get<Exchange>(segment.events.front().action);
    CHECK(exchange.out == port.questions[i - 1].send);
    CHECK(exchange.terminator == port.questions[i - 1].until);
    CHECK(longest(segment) > port.time_out * (1 + port.retries));
  }
}

TEST_CASE("a step may ask some of the questions only", "[compile][identify]") {
  IdentifySpec some;
  some.questions = {"table"};
  Talk talk{{some}};
  CHECK(talk.judge(Talk::good()).findings.size() == 1);
}

namespace {

/// Two steps of one run, each with its own answers, seen by the plan's watch.
std::vector<Finding> asked_twice(const Talk::Replies& first, const Talk::Replies& then) {
  IdentifySpec last;
  last.name = "identify_again";
  Talk talk{{IdentifySpec{}, last}};
  const CompiledWatch* identity = nullptr;
  for (const auto& watch : talk.plan->watches)
    if (watch->name() == "identity") identity = watch.get();
  REQUIRE(identity);
  std::vector<Reduction> reductions;
  for (std::size_t s = 0; s < 2; ++s) {
    const auto& step = *talk.plan->steps[s];
    for (const auto& slice : talk.bench->play(step, [&](std::size_t i, const State&, Slice&slice) {
           talk.reply(step, i, slice, s == 0 ? first : then);
         }))
      reductions.push_back(identity->look(slice, talk.bench->scales()));
  }
  return identity->conclude(reductions);
}

}  // namespace

TEST_CASE("answers that stay the same to the run's end pass", "[compile][identify]") {
  for (const auto& finding : asked_twice(Talk::good(), Talk::good())) {
    CAPTURE(finding.id, finding.reason);
    CHECK(finding.verdict == Verdict::pass);
  }
}

TEST_CASE("another table at the run's end than at its beginning fails", "[compile][identify]") {
  auto then = Talk::good();
  then["table"] = "a910";
  const auto findings = asked_twice(Talk::good(), then);
  REQUIRE(findings.size() == 3);
  CHECK(findings[2].id == "identity/table");
  CHECK(findings[2].verdict == Verdict::fail);
  CHECK(says(findings[2].reason, "was 'a90f' and is 'a910'"));
  CHECK(findings[1].verdict == Verdict::pass);
}

TEST_CASE("an answer that came once only cannot be compared, and is void", "[compile][identify]") {
  auto then = Talk::good();
  then.erase("table");
  CHECK(asked_twice(Talk::good(), then)[2].verdict == Verdict::void_);
}

TEST_CASE("a run that asks once owes no comparison", "[compile][identify]") {
  Talk talk;
  for (const auto& watch : talk.plan->watches) CHECK(watch->name() != "identity");
}
