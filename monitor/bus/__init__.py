"""The bus: stations, collectors and the hall over any MQTT 5 broker; the only code that knows MQTT."""
