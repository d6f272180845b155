-- One row a record of a weather station. Its channels and their values stand in channels and traces.
SELECT
    session_id,
    station_id,
    station_as_recorded,
    station_latitude_deg,
    station_longitude_deg,
    station_elevation_m,
    started_at_local,
    started_at_utc,
    ended_at_local,
    utc_offset_s,
    time_zone,
    time_quality,
    wind_source,
    wind_height_m,
    wind_averaging_s,
    wind_gust_window_s,
    source_name
FROM ($sessions)
WHERE kind = 'weather'
