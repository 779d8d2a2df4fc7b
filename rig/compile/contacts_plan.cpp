#include "rig/compile/contacts_plan.hpp"

#include "rig/compile/looks.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;

constexpr Nanoseconds kRelays = 10ms;  ///< relays travel and bounce at most 5 ms (common practice, no source)
constexpr Nanoseconds kSteady = 20ms;  ///< for whatever follows a source, before it is looked at

class Writer {
 public:
  Writer(const ContactsSpec& spec, const std::vector<BenchLine>& lines, bool with_speed, Script& script,
         std::vector<Segment>& segments)
      : spec_{spec}, lines_{lines}, with_speed_{with_speed}, script_{script}, segments_{segments} {}

  ContactsPlan write() {
    const auto& wiring = script_.bench().wiring;
    script_.battery(Grounded{});
    script_.speed(Rpm{0});
    script_.relay(wiring.loop_back, false);
    script_.relay(wiring.bypass_request, true);  // to ground, as one of the pins that may be touched
    // The sources as they are by themselves.
    script_.relay(wiring.isolator, false);
    for (std::size_t i = 0; i < lines_.size(); ++i) loads(i, false);
    script_.sources(spec_.level);
    for (std::size_t i = 0; i < product().rails.size(); ++i) script_.output(rail(i).source, spec_.lowest_level);
    script_.output(wiring.speed.pull_up_supply, spec_.level);
    script_.output(wiring.speed.foot, spec_.lowest_level);
    script_.hold(segments_, kRelays);
    plan_.isolated = look();

    script_.relay(wiring.isolator, true);
    all_quiet();
    script_.hold(segments_, kRelays);
    plan_.quiet = look();
    for (std::size_t i = 0; i < lines_.size(); ++i) write_line(i);
    for (std::size_t i = 0; i < product().rails.size(); ++i) write_rail(i);
    if (with_speed_) write_speed();

    all_quiet();
    for (const auto& line : wiring.lines)
      if (line.second_load) script_.relay(line.second_load->relay, false);
    for (std::size_t i = 0; i < product().rails.size(); ++i)
      if (rail(i).sensor_load) script_.relay(rail(i).sensor_load->relay, false);
    script_.relay(wiring.bypass_request, false);
    script_.output(wiring.speed.foot, Volts{0});
    script_.output(wiring.speed.pull_up_supply, product().speed.pull_up_to);
    script_.hold(segments_, kRelays);
    return std::move(plan_);
  }

 private:
  const Product& product() const { return script_.product(); }
  const RailWiring& rail(std::size_t i) const { return *script_.bench().wiring.rail(product().rails[i].name); }

  void loads(std::size_t line, bool closed) {
    const auto& wiring = *lines_[line].wiring;
    if (wiring.load) script_.relay(wiring.load->relay, closed);
    if (wiring.second_load) script_.relay(wiring.second_load->relay, closed);
  }

  /// Nothing driven, everything held: sources open behind their loads, rails grounded.
  void all_quiet() {
    script_.sources(HighImpedance{});
    script_.rails(false);
    for (std::size_t i = 0; i < lines_.size(); ++i) loads(i, true);
    for (std::size_t i = 0; i < product().rails.size(); ++i)
      if (rail(i).sensor_load) script_.relay(rail(i).sensor_load->relay, true);
    script_.output(script_.bench().wiring.speed.pull_up_supply, spec_.lowest_level);
    script_.output(script_.bench().wiring.speed.foot, spec_.lowest_level);
  }

  std::size_t look() {
    script_.settle(segments_, Script::Wait::inputs);
    script_.hold(segments_, kContactsLook);
    plan_.looks.push_back(segments_.size() - 1);
    return segments_.size() - 1;
  }

  void write_line(std::size_t line) {
    all_quiet();
    script_.output(lines_[line].wiring->source, spec_.level);
    script_.hold(segments_, kRelays);
    ContactsPlan::Pair pair;
    pair.loaded = look();
    loads(line, false);
    script_.hold(segments_, kRelays);
    pair.bare = look();
    plan_.lines.push_back(pair);
  }

  void write_rail(std::size_t number) {
    all_quiet();
    // A line that hangs on this rail by its pull-up would follow it rightly: its own source holds it instead.
    for (std::size_t i = 0; i < lines_.size(); ++i) {
      if (known_load(product(), script_.bench(), i, true, true).to_rail <= 0) continue;
      loads(i, false);
      script_.output(lines_[i].wiring->source, Grounded{});
    }
    for (std::size_t i = 0; i < product().rails.size(); ++i)
      script_.output(rail(i).source, i == number ? OutputState{spec_.lowest_level} : OutputState{HighImpedance{}});
    script_.hold(segments_, kRelays);
    ContactsPlan::Pair pair;
    pair.loaded = look();
    if (rail(number).sensor_load) script_.relay(rail(number).sensor_load->relay, false);
    script_.hold(segments_, kRelays);
    pair.bare = look();
    plan_.rails.push_back(pair);
  }

  void write_speed() {
    all_quiet();
    for (std::size_t i = 0; i < product().rails.size(); ++i) script_.output(rail(i).source, HighImpedance{});
    const auto speed = slow_turning(product().speed.wheel);
    const auto cycle = cycle_at(speed);
    script_.speed(speed);
    script_.output(script_.bench().wiring.speed.pull_up_supply, spec_.level);
    script_.hold(segments_, kSteady + cycle);  // seen over a whole cycle of the wheel
    plan_.speed = segments_.size() - 1;
    script_.speed(Rpm{0});
  }

  const ContactsSpec& spec_;
  const std::vector<BenchLine>& lines_;
  bool with_speed_;
  Script& script_;
  std::vector<Segment>& segments_;
  ContactsPlan plan_;
};

}  // namespace

ContactsPlan write_contacts(const ContactsSpec& spec, const std::vector<BenchLine>& lines, bool with_speed,
                            Script& script, std::vector<Segment>& segments) {
  return Writer{spec, lines, with_speed, script, segments}.write();
}

}  // namespace rig
