#include "drivers/emulated/service_port.hpp"

#include <algorithm>
#include <cmath>
#include <regex>

#include "drivers/emulated/fitting_text.hpp"
#include "drivers/emulated/noise.hpp"

namespace drivers::emulated {
namespace {

constexpr std::int64_t kReplyDelay = 2'000'000;  ///< from a question's last bit to the answer's first
constexpr double kBaudError = 0.03;              ///< beyond this share two ends do not understand each other
constexpr int kBitsAByte = 10;                   ///< start, eight of data, stop

std::int64_t lasts(std::size_t bytes, std::uint32_t baud) {
  return std::llround(1e9 * kBitsAByte * static_cast<double>(bytes) / std::max(baud, 1u));
}

/// Another hash of the same alphabet: every digit and letter is turned on by half of its kind.
std::string another(std::string text) {
  const auto turn = [](char c, char first, int kinds) {
    return static_cast<char>(first + (c - first + kinds / 2) % kinds);
  };
  for (char& c : text) {
    if (c >= '0' && c <= '9') c = turn(c, '0', 10);
    if (c >= 'a' && c <= 'f') {
      c = turn(c, 'a', 6);
    } else if (c >= 'A' && c <= 'F') {
      c = turn(c, 'A', 6);
    }
  }
  return text;
}

bool fits(const std::string& reply, const rig::ServiceQuestion& question, const std::optional<std::string>& answer) {
  try {
    std::smatch match;
    if (!std::regex_search(reply, match, std::regex{question.pattern})) return false;
    return !answer || (match.size() > 1 && match[1] == *answer);
  } catch (const std::regex_error&) {
    return false;
  }
}

/// The end that the bench waits for, or the length.
std::string ended(std::string reply, const rig::ServiceQuestion& question) {
  const std::string end{question.until.begin(), question.until.end()};
  if (!end.empty()) return reply.ends_with(end) ? reply : reply + end;
  if (question.length > 0) reply.resize(question.length, ' ');
  return reply;
}

}  // namespace

std::optional<std::string> answer_of(const rig::ServicePort& service, const UnitBuild& unit,
                                     const std::vector<std::uint8_t>& asked) {
  const auto question = std::find_if(service.questions.begin(), service.questions.end(),
                                     [&](const rig::ServiceQuestion& q) { return q.send == asked; });
  if (question == service.questions.end()) return std::nullopt;
  std::optional<std::string> answer;
  if (question->is == rig::AnswerIs::release) answer = question->expect;
  if (question->is == rig::AnswerIs::unit_serial) answer = unit.serial;
  const bool other =
      (question->name == "firmware" && unit.other_firmware) || (question->name == "table" && unit.other_table);
  if (other && answer) answer = another(*answer);
  const auto number = static_cast<std::uint64_t>(question - service.questions.begin());
  const Chance chance{0x50726f6f66, unit.serial, 0x100 + number};
  // No fault is what a good unit has in its memory, so the plainest text for those.
  std::string reply = fitting_text(question->pattern, answer, chance, question->name == "faults");
  // What such a text cannot be made for, or an answer that the pattern does not allow, is said all the same.
  if (answer && !fits(reply, *question, answer)) reply = question->name + " " + *answer;
  return ended(std::move(reply), *question);
}

void ServiceWire::ask(std::int64_t at, const rig::Exchange& exchange) {
  exchange_ = exchange;
  left_ = std::max(exchange.retries, 0);
  send(at);
}

void ServiceWire::send(std::int64_t at) {
  reply_.clear();
  heard_ = false;
  asked_at_ = at + lasts(exchange_->out.size(), exchange_->baud);
  gives_up_at_ = asked_at_ + std::max<std::int64_t>(exchange_->time_out.count(), 0);
}

void ServiceWire::set_alive(std::int64_t at, bool alive) {
  if (alive_ && !alive) std::erase_if(coming_, [at](const Byte& byte) { return byte.at >= at; });
  alive_ = alive;
}

void ServiceWire::fall_silent(std::int64_t at) {
  std::erase_if(coming_, [at](const Byte& byte) { return byte.at >= at; });
  exchange_.reset();
}

std::optional<std::int64_t> ServiceWire::next() const {
  std::optional<std::int64_t> first;
  const auto may = [&](std::int64_t at) { first = first ? std::min(*first, at) : at; };
  if (exchange_) may(heard_ ? gives_up_at_ : asked_at_);
  if (!coming_.empty()) may(coming_.front().at);
  return first;
}

void ServiceWire::advance(std::int64_t to) {
  for (auto at = next(); at && *at < to; at = next()) happen(*at);
}

void ServiceWire::happen(std::int64_t at) {
  if (!coming_.empty() && coming_.front().at == at) {
    arrived_.push_back(coming_.front());
    reply_.push_back(coming_.front().value);
    coming_.pop_front();
    if (exchange_ && heard_ && complete()) exchange_.reset();
  } else if (!heard_) {
    heard_ = true;
    if (!alive_ || !service_) return;
    const double ratio = static_cast<double>(exchange_->baud) / std::max(service_->baud, 1u);
    if (std::abs(ratio - 1) > kBaudError) return;
    if (!service_->hang.empty() && exchange_->out == service_->hang) hang_ = true;
    const auto answer = answer_of(*service_, *unit_, exchange_->out);
    if (!answer) return;
    std::int64_t from = at + kReplyDelay;
    if (!coming_.empty()) from = std::max(from, coming_.back().at);
    for (std::size_t i = 0; i < answer->size(); ++i) {
      coming_.push_back({from + lasts(i + 1, service_->baud), static_cast<std::uint8_t>((*answer)[i])});
    }
  } else if (left_-- > 0) {
    send(at);
  } else {
    exchange_.reset();
  }
}

bool ServiceWire::complete() const {
  const auto& end = exchange_->terminator;
  if (end.empty()) return reply_.size() >= exchange_->length;
  return reply_.size() >= end.size() && std::equal(end.rbegin(), end.rend(), reply_.rbegin());
}

}  // namespace drivers::emulated
