drop index meter_reading_replaced;
alter table meter_reading drop column meter_replaced;
