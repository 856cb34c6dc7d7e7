// Sensor board, the easy one: four outputs, eight readings a second, plain text at 115200 baud.
// Volts on A0, A2, A4, A6 and amps on A1, A3, A5, A7. Wire it as wiring.md says, never to anything of the mains side.

const char NAME[] = "bench-1";
const int OUTPUTS = 4;             // 3 if your board has no A6 and A7
const int WINDOW_MS = 100;         // measure this long: 5 whole cycles at 50 Hz, 6 at 60 Hz
const int INTERVAL_MS = 125;       // then print, and start again on this beat

// volts = (count - VOLTS_ZERO) * VOLTS_SCALE, and amps alike. See ../packed_board/settings.h for the arithmetic.
const float VOLTS_SCALE = 0.08138; // 5 V / 1024 counts / 0.06 (94 k over two 12 k)
const float VOLTS_ZERO = 481.28;   // 512 * 94 k / 100 k
const float AMPS_SCALE = 0.04883;  // 5 V / 1024 counts / 0.1 volt per amp
const float AMPS_ZERO = 512.0;

unsigned long windowStart = 0, identityDue = 0;

void say(const char *text) {       // the line, then * and the XOR of all its characters as two hex digits
  byte check = 0;
  for (const char *at = text; *at; at++) check ^= *at;
  Serial.print(text);
  Serial.print(check < 16 ? "*0" : "*");
  Serial.println(check, HEX);
}

void setup() {
  Serial.begin(115200);
  Serial.println("# volts, amps and watts of four outputs");
}

void loop() {
  float voltsSquared[OUTPUTS] = {}, ampsSquared[OUTPUTS] = {}, wattsSum[OUTPUTS] = {};
  int scans = 0;
  while (millis() - windowStart < WINDOW_MS) {
    for (int i = 0; i < OUTPUTS; i++) {
      int swap = scans & 1;        // take turns at being first, or the later one lags and spoils the watts
      int first = analogRead(A0 + 2 * i + swap), second = analogRead(A0 + 2 * i + 1 - swap);
      float volts = (swap ? second : first) - VOLTS_ZERO, amps = (swap ? first : second) - AMPS_ZERO;
      voltsSquared[i] += volts * volts;
      ampsSquared[i] += amps * amps;
      wattsSum[i] += volts * amps;
    }
    scans++;
  }
  char line[60], v[12], a[12], w[12];
  unsigned long now = millis();
  if ((long)(now - identityDue) >= 0) {
    snprintf(line, sizeof line, "b,%s,%d,%d", NAME, OUTPUTS, INTERVAL_MS);
    say(line);
    identityDue = now + 1000;
  }
  for (int i = 0; i < OUTPUTS; i++) {
    dtostrf(sqrt(voltsSquared[i] / scans) * VOLTS_SCALE, 1, 2, v);
    dtostrf(sqrt(ampsSquared[i] / scans) * AMPS_SCALE, 1, 3, a);
    dtostrf(wattsSum[i] / scans * VOLTS_SCALE * AMPS_SCALE, 1, 2, w);
    snprintf(line, sizeof line, "r,%lu,%d,%s,%s,%s", now, i, v, a, w);
    say(line);
  }
  while (millis() - windowStart < INTERVAL_MS) {}
  windowStart += INTERVAL_MS;
}
